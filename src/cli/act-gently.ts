import { isExplained } from "../terms/errors.js";

/**
 * Runs something that acts on subs. Ctrl-C and a polite end from outside stop it at its next safe point instead of at
 * once, and an error that nobody foresaw says what is true of the subs then.
 * @param work - gives the exit code
 */
export async function actGently(work: (stop: AbortSignal) => Promise<number>): Promise<number> {
  const controller = new AbortController();
  const signals = ["SIGINT", "SIGTERM"] as const;
  const before = signals.map((signal) => [signal, process.listeners(signal)] as const);
  const stop = () => {
    if (!controller.signal.aborted) process.stderr.write("\nfinishing the sub at hand, then stopping\n");
    controller.abort();
  };
  for (const signal of signals) {
    process.removeAllListeners(signal);
    process.on(signal, stop);
  }
  try {
    return await work(controller.signal);
  } catch (error) {
    if (isExplained(error)) throw error;
    console.error((error as Error).stack);
    console.error(
      "This is a fault of nightyield, or of the disk. Every sub is whole; the journal (folder journals of the triage output) can be resumed or undone.",
    );
    return 3;
  } finally {
    for (const [signal, listeners] of before) {
      process.removeListener(signal, stop);
      for (const listener of listeners) process.on(signal, listener as () => void);
    }
  }
}
