// The sheet of keys.

import type { JSX } from "preact";
import { useEffect, useRef } from "preact/hooks";

export const keys: [string, [string, string][]][] = [
  [
    "Look",
    [
      ["1 2 3 4", "three-quarter, front, side, above"],
      ["B", "from below, and back"],
      ["arrows", "turn"],
      ["W A S D", "move the sheet"],
      ["+ −", "nearer, further"],
      ["F", "fit to the sheet"],
      ["G", "the part faint"],
      ["E", "exploded"],
      ["X", "cut at z"],
      ["P", "plan: the layer at z from above"],
      ["Page up, down", "z a layer up or down"],
    ],
  ],
  [
    "Work",
    [
      ["click, or Q", "ask why the spot in the cross-hairs holds or not, and put something there"],
      ["Shift + arrows", "move what is chosen by 1 mm"],
      ["[ ]", "a post's side smaller, larger"],
      ["K", "pin, unpin"],
      ["Del", "delete what is chosen"],
      ["N", "next finding"],
      ["L", "lay out the rest"],
      ["Ctrl + Z, Ctrl + Y", "undo, redo"],
      ["Ctrl + S", "save the plan"],
      ["T", "to the schedule"],
      ["V", "to the drawing"],
      ["Esc", "let go"],
    ],
  ],
];

export function Help({ close }: { close: () => void }): JSX.Element {
  const dialog = useRef<HTMLDialogElement>(null);
  useEffect(() => dialog.current?.showModal(), []);
  return (
    <dialog class="help" ref={dialog} onClose={close} aria-label="Keys">
      <h2>Keys and hands</h2>
      <div class="columns">
        {keys.map(([name, list]) => (
          <section key={name}>
            <h3>{name}</h3>
            <dl>
              {list.map(([key, does]) => (
                <div key={key}>
                  <dt>
                    <kbd>{key}</kbd>
                  </dt>
                  <dd>{does}</dd>
                </div>
              ))}
            </dl>
          </section>
        ))}
      </div>
      <p>
        Drag to turn, with Shift or the right button to move the sheet; the wheel, a pinch or two fingers bring it nearer. Drag a post or a
        line that is chosen to move it in plan.
      </p>
      <p class="caution">
        That it holds is a proof on paper: print it once before thousands do. Hot parts, splinters and blades hurt; wear eye protection when
        you take supports off. Nothing here says what the part will carry.
      </p>
      <form method="dialog">
        <button type="submit" class="word">
          Close
        </button>
      </form>
    </dialog>
  );
}
