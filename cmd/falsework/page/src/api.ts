// The server's calls. Every one carries the token that the page was opened with.

import type { Edit, Layer, P3, Part, Pose, State, Why } from "./types.ts";

/** An answer that is not the one asked for. */
export class Refusal extends Error {
  constructor(
    readonly status: number,
    message: string,
    readonly state?: State,
    readonly id?: string,
  ) {
    super(message);
  }
}

const tokenKey = "falsework-token";

/** Takes the token out of the page's address, where it would be shown and kept. */
export function takeToken(): string {
  const url = new URL(location.href);
  const given = url.searchParams.get("token");
  if (given) {
    sessionStorage.setItem(tokenKey, given);
    url.searchParams.delete("token");
    history.replaceState(null, "", url);
  }
  return sessionStorage.getItem(tokenKey) ?? "";
}

/** One event of the stream. */
export interface News {
  event: string;
  data: string;
}

/** Splits what arrived of an event stream into events and the rest. */
export function splitEvents(text: string): { events: News[]; rest: string } {
  const blocks = text.replaceAll("\r\n", "\n").split("\n\n");
  const rest = blocks.pop() ?? "";
  const events: News[] = [];
  for (const block of blocks) {
    const news: News = { event: "message", data: "" };
    for (const line of block.split("\n")) {
      if (line.startsWith("event:")) news.event = line.slice(6).trim();
      else if (line.startsWith("data:")) news.data += line.slice(5).trim();
    }
    if (block.split("\n").some((line) => line !== "" && !line.startsWith(":"))) events.push(news);
  }
  return { events, rest };
}

export class Api {
  constructor(private readonly token: string) {}

  private async ask(path: string, body?: unknown, signal?: AbortSignal): Promise<Response> {
    const init: RequestInit = { headers: { "Falsework-Token": this.token }, cache: "no-store" };
    if (signal) init.signal = signal;
    if (body !== undefined) {
      init.method = "POST";
      init.body = JSON.stringify(body);
      init.headers = { "Falsework-Token": this.token, "Content-Type": "application/json" };
    }
    const answer = await fetch(path, init);
    if (answer.ok) return answer;
    const text = await answer.text();
    try {
      const told = JSON.parse(text) as { error?: string; reason?: string; id?: string; state?: State };
      throw new Refusal(answer.status, told.reason ?? told.error ?? text, told.state, told.id);
    } catch (e) {
      if (e instanceof Refusal) throw e;
      throw new Refusal(answer.status, text.trim() || answer.statusText);
    }
  }

  private async json<T>(path: string, body?: unknown): Promise<T> {
    return (await (await this.ask(path, body)).json()) as T;
  }

  part = (): Promise<Part> => this.json("/api/part");
  state = (): Promise<State> => this.json("/api/state");
  layer = (z: number): Promise<Layer> => this.json(`/api/layer?z=${z.toFixed(4)}`);
  edit = (base: number, edits: Edit[]): Promise<State> => this.json("/api/edit", { base, edits });
  undo = (base: number): Promise<State> => this.json("/api/undo", { base });
  redo = (base: number): Promise<State> => this.json("/api/redo", { base });
  save = (base: number): Promise<{ path: string; saved_revision: number }> => this.json("/api/save", { base });

  async mesh(path: string): Promise<ArrayBuffer> {
    return (await this.ask(path)).arrayBuffer();
  }

  why(at: P3, normal: P3): Promise<Why> {
    const q = new URLSearchParams();
    for (const [i, axis] of ["x", "y", "z"].entries()) {
      q.set(axis, (at[i] ?? 0).toFixed(4));
      q.set(`n${axis}`, (normal[i] ?? 0).toFixed(5));
    }
    return this.json(`/api/why?${q}`);
  }

  /** Starts something long. */
  async start(path: "/api/layout" | "/api/pose" | "/api/cancel", body: unknown): Promise<void> {
    await this.ask(path, body);
  }

  /** The ranked poses, or null while they are being ranked. */
  async poses(): Promise<Pose[] | null> {
    const answer = await this.ask("/api/poses");
    return answer.status === 202 ? null : ((await answer.json()) as { poses: Pose[] }).poses;
  }

  async bake(base: number): Promise<{ name: string; data: Blob }> {
    const answer = await this.ask("/api/bake", { base });
    const name = /filename="?([^";]+)"?/.exec(answer.headers.get("Content-Disposition") ?? "")?.[1];
    return { name: name ?? "falsework.zip", data: await answer.blob() };
  }

  /** Hears of news until the stream ends or breaks. */
  async listen(hear: (news: News) => void, signal: AbortSignal): Promise<void> {
    const answer = await this.ask("/api/events", undefined, signal);
    const reader = answer.body?.pipeThrough(new TextDecoderStream()).getReader();
    if (!reader) return;
    let text = "";
    for (;;) {
      const { done, value } = await reader.read();
      if (done) return;
      const { events, rest } = splitEvents(text + value);
      text = rest;
      events.forEach(hear);
    }
  }
}
