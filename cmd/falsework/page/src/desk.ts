// The page's side of the work: what the server told last, and what is asked of it. Nothing
// here decides about supports; the server does.

import { Refusal, type Api } from "./api.ts";
import { decodePart, decodeSupports, type Mesh, type Piece } from "./decode.ts";
import type { Edit, Layer, P3, Part, Pose, State, Why, Working } from "./types.ts";

/** A spot that was asked about. */
export interface Spot {
  at: P3;
  normal: P3;
  answer: Why | null; // null while it is not known
}

export class Desk {
  part: Part | null = null;
  mesh: Mesh | null = null;
  state: State | null = null;
  pieces: Piece[] = [];
  layer: Layer | null = null;
  poses: Pose[] | null | "ranking" = null;
  spot: Spot | null = null;
  working: Working | null = null;
  message = "";
  trouble = ""; // set while the server cannot be heard
  private listeners = new Set<() => void>();
  private queue: Promise<unknown> = Promise.resolve();
  private turn = "";
  private shown = "";
  private asking = false;
  private again = false;
  private wanted: number | null = null;
  private layerOf = "";

  constructor(readonly api: Api) {}

  subscribe(f: () => void): () => void {
    this.listeners.add(f);
    return () => this.listeners.delete(f);
  }

  private tell(): void {
    this.listeners.forEach((f) => f());
  }

  say(message: string): void {
    this.message = message;
    this.tell();
  }

  /** Fetches everything, then hears of news until the signal. */
  async open(signal: AbortSignal): Promise<void> {
    for (let wait = 500; !signal.aborted; wait = Math.min(8000, wait * 2)) {
      try {
        if (!this.part) await this.fetchPart();
        await this.refresh();
        this.trouble = "";
        this.tell();
        await this.api.listen((news) => {
          wait = 500;
          if (news.event === "progress") {
            this.working = JSON.parse(news.data) as Working;
            this.tell();
          } else if (news.event === "state") void this.refresh();
          else if (news.event === "closed") throw new Error("the program was closed");
        }, signal);
      } catch (e) {
        if (signal.aborted) return;
        this.trouble = e instanceof Refusal && e.status !== 503 ? e.message : "The program does not answer. What was not saved is kept beside the plan and comes back when it is started again.";
        this.tell();
      }
      await new Promise((done) => setTimeout(done, wait));
    }
  }

  private async fetchPart(): Promise<void> {
    this.part = await this.api.part();
    this.mesh = decodePart(await this.api.mesh("/api/part/mesh"));
    this.turn = JSON.stringify(this.part.pose.turn_deg);
    this.tell();
  }

  /** Asks for the state, once more if news came meanwhile. */
  async refresh(): Promise<void> {
    if (this.asking) {
      this.again = true;
      return;
    }
    this.asking = true;
    try {
      do {
        this.again = false;
        await this.take(await this.api.state());
      } while (this.again);
    } catch (e) {
      this.say(reason(e));
      throw e;
    } finally {
      this.asking = false;
    }
  }

  /** Shows a state unless a newer one is shown already, and fetches the meshes that go with it. */
  private async take(s: State): Promise<void> {
    if (this.state && s.revision < this.state.revision) return;
    const before = this.state;
    this.state = s;
    this.working = s.working;
    if (s.message) this.message = s.message;
    if (before && before.revision !== s.revision && !s.message) this.message = "";
    if (before && before.revision !== s.revision && this.spot) void this.ask(this.spot.at, this.spot.normal);
    this.tell();
    if (s.turn_deg && JSON.stringify(s.turn_deg) !== this.turn) {
      this.spot = null;
      await this.fetchPart();
    }
    const key = `${s.revision}`;
    if (s.ready.grow && key !== this.shown) {
      this.shown = key;
      this.pieces = decodeSupports(await this.api.mesh(`/api/supports/mesh?revision=${s.revision}`));
      this.tell();
    }
    if (this.wanted !== null) await this.fetchLayer();
  }

  /** Does one thing after another, each on what the one before it left. */
  private inTurn(f: (base: number) => Promise<State | null>): Promise<boolean> {
    const next = this.queue.then(async () => {
      if (!this.state) return false;
      try {
        const s = await f(this.state.revision);
        if (s) await this.take(s);
        return true;
      } catch (e) {
        if (e instanceof Refusal && e.status === 409) {
          if (e.state) await this.take(e.state);
          else await this.refresh();
          this.say(e.state ? "The plan was changed in another window, and is shown as it is now. Your last step was not taken: take it again if it still fits." : reason(e));
        } else this.say(reason(e));
        return false;
      }
    });
    this.queue = next;
    return next;
  }

  edit(...edits: Edit[]): Promise<boolean> {
    return this.inTurn((base) => this.api.edit(base, edits));
  }
  undo = (): Promise<boolean> => this.inTurn((base) => this.api.undo(base));
  redo = (): Promise<boolean> => this.inTurn((base) => this.api.redo(base));

  layOut = (): Promise<boolean> => this.start("/api/layout", (base) => ({ base }));
  pose = (turn_deg: P3): Promise<boolean> => this.start("/api/pose", (base) => ({ base, turn_deg }));
  cancel = (): Promise<boolean> => this.start("/api/cancel", () => ({}));

  private start(path: "/api/layout" | "/api/pose" | "/api/cancel", body: (base: number) => unknown): Promise<boolean> {
    return this.inTurn(async (base) => {
      await this.api.start(path, body(base));
      return null;
    });
  }

  save = (): Promise<boolean> =>
    this.inTurn(async (base) => {
      const { path } = await this.api.save(base);
      const s = await this.api.state();
      await this.take(s);
      this.say(`Saved as ${path}`);
      return null;
    });

  /** Fetches the package and hands it to the browser to keep. */
  bake = (): Promise<boolean> =>
    this.inTurn(async (base) => {
      this.working = { stage: "bake", text: "baking the package" };
      this.tell();
      try {
        const { name, data } = await this.api.bake(base);
        const link = document.createElement("a");
        link.href = URL.createObjectURL(data);
        link.download = name;
        link.click();
        setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
        this.say(`${name} is handed to the browser`);
      } finally {
        this.working = null;
        this.tell();
      }
      return null;
    });

  /** Asks why a spot is held or not. */
  async ask(at: P3, normal: P3): Promise<void> {
    const spot: Spot = { at, normal, answer: this.spot?.at === at ? this.spot.answer : null };
    this.spot = spot;
    this.tell();
    try {
      const answer = await this.api.why(at, normal);
      if (this.spot === spot) spot.answer = answer;
    } catch (e) {
      this.say(reason(e));
    }
    this.tell();
  }

  forget(): void {
    this.spot = null;
    this.tell();
  }

  /** Keeps a layer at hand, or none. */
  wantLayer(z: number | null): void {
    this.wanted = z;
    if (z === null) this.layer = null;
    else void this.fetchLayer().catch((e: unknown) => this.say(reason(e)));
  }

  private async fetchLayer(): Promise<void> {
    const z = this.wanted;
    const s = this.state;
    if (z === null || !s) return;
    const key = `${z} ${s.revision} ${s.ready.grow} ${s.ready.proof}`;
    if (key === this.layerOf && this.layer) return;
    this.layerOf = key;
    const layer = await this.api.layer(z);
    if (this.layerOf !== key || this.wanted === null) return;
    this.layer = layer;
    this.tell();
  }

  /** Has the poses ranked, and waits for that. */
  async rank(): Promise<void> {
    if (this.poses === "ranking") return;
    this.poses = "ranking";
    this.tell();
    try {
      for (;;) {
        const list = await this.api.poses();
        if (list) {
          this.poses = list;
          break;
        }
        await new Promise((done) => setTimeout(done, 700));
      }
    } catch (e) {
      this.poses = null;
      this.say(reason(e));
    }
    this.tell();
  }
}

function reason(e: unknown): string {
  if (e instanceof Refusal) return e.id && !e.message.startsWith(e.id) ? `${e.id}: ${e.message}` : e.message;
  return e instanceof Error ? e.message : String(e);
}
