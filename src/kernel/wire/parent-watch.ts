/** How often it is looked whether the parent lives. An orphan ends within this time and one second. */
const lookEveryMs = 2000;

/**
 * Calls back once when the process that started this one is gone.
 * Started by process 1 (or without a parent) there is nothing to watch.
 */
export function watchParent(gone: () => void): void {
  const parent = process.ppid;
  if (parent <= 1) return;
  const timer = setInterval(() => {
    if (process.ppid === parent && isAlive(parent)) return;
    clearInterval(timer);
    gone();
  }, lookEveryMs);
  timer.unref();
}

function isAlive(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch (error) {
    return (error as NodeJS.ErrnoException).code === "EPERM";
  }
}
