import { escapeHtml } from "../../show/html.js";
import type { MimeBundle } from "../messages/message.js";
import type { Progress } from "./notebook-globals.js";

const renewEveryMs = 100;

/**
 * A bar with rate and time left.
 * @param show - called with what is to be seen; every time but the first it renews
 */
export function progressBar(total: number, label: string, show: (bundle: MimeBundle) => void): Progress {
  const startedMs = performance.now();
  let shownMs = startedMs;
  let done = 0;
  let ended = false;
  const draw = () => {
    shownMs = performance.now();
    show(barBundle(done, total, label, (shownMs - startedMs) / 1000));
  };
  draw();
  return {
    step(items = 1) {
      done += items;
      if (done >= total || performance.now() - shownMs >= renewEveryMs) draw();
    },
    end() {
      if (!ended && done < total) draw();
      ended = true;
    },
  };
}

/** Goes through a list and shows how far it is. */
export function* withProgress<T>(items: readonly T[], label: string, show: (bundle: MimeBundle) => void): Generator<T> {
  const bar = progressBar(items.length, label, show);
  try {
    for (const item of items) {
      yield item;
      bar.step();
    }
  } finally {
    bar.end();
  }
}

function barBundle(done: number, total: number, label: string, seconds: number): MimeBundle {
  const rate = seconds > 0 ? done / seconds : 0;
  const leftS = rate > 0 ? Math.round((total - done) / rate) : undefined;
  const speed = done === 0 ? "" : `, ${rate.toFixed(rate < 10 ? 1 : 0)} a second`;
  const left = done >= total ? `, ${seconds.toFixed(1)} s in all` : leftS === undefined ? "" : `, ${leftS} s left`;
  const text = `${label === "" ? "" : `${label}: `}${done} of ${total}${speed}${left}`;
  return {
    "text/html": `<progress max="${Math.max(total, 1)}" value="${done}"></progress> ${escapeHtml(text)}`,
    "text/plain": text,
  };
}
