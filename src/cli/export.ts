import { basename, resolve } from "node:path";
import { writeWhole } from "../read/write-whole.js";
import { CallError } from "../terms/errors.js";
import { type Command, flags } from "./command.js";
import { version } from "./version.js";

const usage = "export NOTEBOOK --to html|md [--out FILE]";
const options = { to: { type: "string" }, out: { type: "string" } } as const;

/** A notebook as a page or a text that others can read without a notebook program. */
export const exportNotebook: Command = {
  usage,
  summary: "turn a notebook with its outputs into one page (HTML) or one text (Markdown)",
  help: `
Writes the notebook as it is, with the outputs it holds; nothing is run (nightyield run does that).

  --to html   one self-contained page: opens without a network, light and dark, on a phone and on paper
  --to md     one Markdown text with embedded pictures; charts as their text form
  --out FILE  where to write; nightyield-out/<name>.html or .md below the current folder unless given

Example:
  nightyield run notebooks/triage.ipynb --out march14.ipynb
  nightyield export march14.ipynb --to html --out march14.html`,
  async run(args) {
    const { values, positionals } = flags(args, options, usage);
    if (positionals.length !== 1) throw new CallError(`Give one notebook. Usage: nightyield ${usage}`);
    if (values.to !== "html" && values.to !== "md")
      throw new CallError(
        `--to is ${values.to === undefined ? "missing" : `'${values.to}'`}, expected html or md. Usage: nightyield ${usage}`,
      );
    const path = resolve(positionals[0]!);
    const name = basename(path).replace(/\.ipynb$/i, "");
    const out = resolve(values.out ?? `nightyield-out/${name}.${values.to}`);
    if (out === path) throw new CallError(`--out ${out} is the notebook itself; choose another place`);
    const { readNotebook } = await import("../notebook/read-notebook.js");
    const notebook = readNotebook(path);
    // The compiler that colours the code is loaded only here: other commands start faster without it.
    const { exportHtml } = await import("../notebook/export-html.js");
    const { exportMarkdown } = await import("../notebook/export-markdown.js");
    const text =
      values.to === "html" ? exportHtml(notebook, { title: name, version: version() }) : exportMarkdown(notebook);
    writeWhole(out, text);
    console.log(`Written: ${out}`);
    return 0;
  },
};
