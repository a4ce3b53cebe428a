import { Worker } from "node:worker_threads";
import { failed, type OutcomeOf, perform, type Scratch, type Task } from "./sub-task.js";

/** Measures files and matches subs, several at a time. */
export interface Pool {
  /**
   * Does a task as soon as a worker is free. A file whose measuring fails, or ends its worker, twice becomes an
   * `unreadable` outcome; other work goes on.
   */
  do<T extends Task>(task: T): Promise<OutcomeOf<T>>;
  /** Resolves when few tasks wait, so that whoever hands out work does not run ahead. */
  room(): Promise<void>;
  close(): Promise<void>;
}

/** A frame's tables are small; without a limit each thread keeps some 60 MB of room for short-lived objects. */
const resourceLimits = { maxYoungGenerationSizeMb: 16 };

interface Job {
  readonly task: Task;
  readonly done: (outcome: never) => void;
  readonly fail: (error: unknown) => void;
  attempts: number;
}

interface Crew {
  readonly worker: Worker;
  ready: boolean;
  job: Job | null;
}

/**
 * Opens a pool of threads, each with one task at a time; only tables cross, never pixels. Threads start with the first
 * task. Where they cannot be started (running from sources), and with one job, the work is done in this thread.
 * @param jobs - threads, 1 and more
 * @param workerFile - what a thread runs
 */
export function openPool(jobs: number, workerFile = new URL("./pool-worker.js", import.meta.url)): Pool {
  const waiting: Job[] = [];
  const crews = new Set<Crew>();
  const here: Scratch = {};
  let wantsRoom: (() => void)[] = [];
  let threads = jobs > 1;
  let closed = false;
  let busyHere = false;

  const start = () => {
    const crew: Crew = { worker: new Worker(workerFile, { resourceLimits }), ready: false, job: null };
    crews.add(crew);
    let reason = "its thread ended";
    crew.worker.on("message", (message: "ready" | { outcome: unknown }) => {
      if (message === "ready") crew.ready = true;
      else {
        const { job } = crew;
        crew.job = null;
        job?.done(message.outcome as never);
      }
      deal();
    });
    crew.worker.on("error", (error: Error) => {
      reason = error.message;
    });
    crew.worker.on("exit", () => {
      crews.delete(crew);
      if (closed) return;
      if (!crew.ready) threads = false;
      if (crew.job !== null) again(crew.job, reason);
      deal();
    });
  };

  const again = (job: Job, reason: string) => {
    if (++job.attempts < 2) waiting.unshift(job);
    else giveUp(job, reason);
  };

  const deal = () => {
    if (closed) return;
    if (!threads && crews.size === 0) {
      if (!busyHere && waiting.length > 0) {
        busyHere = true;
        // Lets signals and messages through between tasks.
        setImmediate(workHere);
      }
    } else {
      for (const crew of crews)
        if (crew.ready && crew.job === null && waiting.length > 0) {
          crew.job = waiting.shift()!;
          crew.worker.postMessage(crew.job.task);
        }
      const free = [...crews].filter(({ job }) => job === null).length;
      for (let more = Math.min(jobs - crews.size, waiting.length - free); threads && more > 0; more--) start();
    }
    if (waiting.length < jobs && wantsRoom.length > 0) {
      const told = wantsRoom;
      wantsRoom = [];
      for (const tell of told) tell();
    }
  };

  const workHere = () => {
    busyHere = false;
    const job = waiting.shift();
    if (job === undefined || closed) return;
    try {
      job.done(perform(job.task, here) as never);
    } catch (error) {
      giveUp(job, (error as Error).message, error);
    }
    deal();
  };

  return {
    do: (task) =>
      new Promise((done, fail) => {
        waiting.push({ task, done: done as Job["done"], fail, attempts: 0 });
        deal();
      }),
    room: () => (waiting.length < jobs ? Promise.resolve() : new Promise((told) => wantsRoom.push(told))),
    async close() {
      closed = true;
      await Promise.all([...crews].map(({ worker }) => worker.terminate()));
    },
  };
}

function giveUp({ task, done, fail }: Job, reason: string, error: unknown = new Error(reason)): void {
  if (task.kind === "measure") done({ unreadable: failed(task.file, reason) } as never);
  else fail(error);
}
