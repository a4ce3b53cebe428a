import { resolve } from "node:path";
import {
  here,
  installedKernel,
  installKernel,
  prefixKernels,
  removeKernel,
  searchedKernels,
  userKernels,
} from "../kernel/kernel-spec.js";
import { startKernel } from "../kernel/start-kernel.js";
import { CallError } from "../terms/errors.js";
import type { Command } from "./command.js";
import { flags } from "./command.js";

const usage = "kernel install|remove|list [--user|--prefix DIR], kernel start --connection-file FILE";

const options = {
  user: { type: "boolean" },
  prefix: { type: "string" },
  "connection-file": { type: "string" },
} as const;

/** The notebook kernel: made known to notebook programs, taken away, shown, started. */
export const kernel: Command = {
  usage,
  summary: "make the notebook kernel known to notebook programs (VS Code, JupyterLab), or take it away",
  help: `
install   writes the kernel spec, for the user unless --prefix DIR says where (an environment's folder)
remove    takes it away again
list      shows where it is installed, and whether it can be started there
start     serves one notebook; notebook programs call it

Example:
  nightyield kernel install`,
  async run(args) {
    const { values, positionals } = flags(args, options, usage);
    const [action, ...more] = positionals;
    if (more.length > 0) throw new CallError(`'${more[0]}' is too much. Usage: nightyield ${usage}`);
    if (values.user && values.prefix !== undefined) throw new CallError("Give --user or --prefix DIR, not both");
    const file = values["connection-file"];
    if (file !== undefined && action !== "start") throw new CallError("--connection-file is for kernel start");
    const kernels = values.prefix === undefined ? userKernels(here()) : prefixKernels(resolve(values.prefix));
    switch (action) {
      case "install":
        console.log(
          `kernel installed: ${installKernel(kernels)}\nChoose "nightyield (TypeScript)" as the notebook's kernel.`,
        );
        return 0;
      case "remove": {
        const gone = removeKernel(kernels);
        console.log(gone === undefined ? `no kernel to remove in ${kernels}` : `kernel removed: ${gone}`);
        return gone === undefined ? 1 : 0;
      }
      case "list": {
        const places = values.prefix === undefined && !values.user ? searchedKernels(here()) : [kernels];
        const found = places.flatMap((place) => installedKernel(place) ?? []);
        for (const { folder, trouble } of found) console.log(trouble === "" ? folder : `${folder}: ${trouble}`);
        if (found.length === 0) console.log("not installed; nightyield kernel install does it");
        return found.length > 0 && found.every(({ trouble }) => trouble === "") ? 0 : 1;
      }
      case "start":
        if (file === undefined) throw new CallError("Say where to listen with --connection-file FILE");
        // An interrupt ends a cell here, not the program.
        process.removeAllListeners("SIGINT");
        await startKernel(resolve(file));
        return 0;
      default:
        throw new CallError(`Say what to do with the kernel. Usage: nightyield ${usage}`);
    }
  },
};
