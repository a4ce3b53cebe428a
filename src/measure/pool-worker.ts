// A thread of the pool: does one task after the other. What it does not foresee ends it, and the pool starts a new one.
import { parentPort } from "node:worker_threads";
import { perform, type Scratch, type Task } from "./sub-task.js";

const scratch: Scratch = {};
parentPort!.on("message", (task: Task) => parentPort!.postMessage({ outcome: perform(task, scratch) }));
parentPort!.postMessage("ready");
