/** Where progress goes: a terminal gets one line that renews itself, anything else a quiet line now and then. */
export interface Progress {
  /** Call after each file. */
  step(done: number, total: number): void;
  end(): void;
}

const quietEveryMs = 10_000;
const renewEveryMs = 100;

/**
 * Progress with rate and time left.
 * @param what - what is being done, for example "measuring"
 */
export function progressOn(stream: NodeJS.WriteStream, what: string): Progress {
  const started = performance.now();
  const terminal = stream.isTTY === true;
  let shown = 0;
  const line = (done: number, total: number) => {
    const seconds = (performance.now() - started) / 1000;
    const rate = done / Math.max(seconds, 1e-3);
    const left = rate > 0 ? Math.round((total - done) / rate) : 0;
    return `${what}: ${done} of ${total} files, ${rate.toFixed(rate < 10 ? 1 : 0)} a second${done < total ? `, ${clock(left)} left` : `, ${clock(Math.round(seconds))} in all`}`;
  };
  return {
    step(done, total) {
      const now = performance.now();
      const last = done === total;
      if (!last && now - shown < (terminal ? renewEveryMs : quietEveryMs)) return;
      if (!terminal && !last && shown === 0) {
        shown = now; // the first quiet line waits its turn
        return;
      }
      shown = now;
      stream.write(terminal ? `\r\x1b[2K${line(done, total)}` : `${line(done, total)}\n`);
    },
    end() {
      if (terminal && shown > 0) stream.write("\n");
    },
  };
}

const clock = (s: number) =>
  s < 90 ? `${s} s` : s < 5400 ? `${Math.round(s / 60)} min` : `${(s / 3600).toFixed(1)} h`;
