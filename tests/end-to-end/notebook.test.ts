// Notebooks run through real kernels, ours and one written by others (tslab), and what is left of them afterwards.
import { spawn, spawnSync } from "node:child_process";
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { afterAll, describe, expect, it } from "vitest";
import { OutputCollector } from "../../src/notebook/collect-outputs.js";
import type { KernelCommand } from "../../src/notebook/kernel-process.js";
import type { Cell, Output } from "../../src/notebook/notebook-shape.js";
import { parametersOf, withParameters } from "../../src/notebook/parameters.js";
import { parseNotebook } from "../../src/notebook/parse-notebook.js";
import { type CellProgress, runNotebook } from "../../src/notebook/run-notebook.js";
import { writeNotebook } from "../../src/notebook/write-notebook.js";
import { code, lives, notebookOf, own, tslab } from "./notebook-kernels.js";

const main = fileURLToPath(new URL("../../dist/cli/main.js", import.meta.url));
const folder = mkdtempSync(join(tmpdir(), "nightyield-notebook-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
// Other test files start kernels at the same time; here only this file's folders are seen.
for (const name of ["TMPDIR", "TEMP", "TMP"]) process.env[name] = folder;
const now = () => new Date();
const said = (outputs: readonly Output[]) =>
  outputs.map((output) => (output.output_type === "stream" ? output.text : `<${output.output_type}>`)).join("");
const saidIn = (cell: Cell) => (cell.cell_type === "code" ? said(cell.outputs) : "");
const connectionFolders = () => readdirSync(tmpdir()).filter((name) => name.startsWith("nightyield-kernel-"));

describe.each([
  ["tslab", tslab],
  ["nightyield", own],
] as const)("a notebook in the kernel %s", (_, kernel: KernelCommand) => {
  it("runs with other parameters, says how far it is, and leaves no process and no file behind", async () => {
    const before = connectionFolders();
    const progress: CellProgress[] = [];
    const notebook = notebookOf(
      { cell_type: "markdown", id: "words", metadata: {}, source: "# Words" },
      code("defaults", 'const limit = 3;\nlet who: string = "me";', "parameters"),
      code("use", "console.log(who, limit * 2);"),
      code("none", "  \n"),
      code("skipped", "console.log('never')", "skip-execution"),
      code("pid", "console.log(process.pid);\nawait new Promise((r) => setTimeout(r, 20));"),
    );
    const {
      notebook: ran,
      failed,
      complete,
    } = await runNotebook(notebook, {
      folder,
      now,
      kernel,
      parameters: { limit: 21, who: "you" },
      onCell: (cell) => progress.push(cell),
    });
    expect({ failed, complete }).toEqual({ failed: [], complete: true });
    expect(ran.cells.map(({ id }) => id)).toEqual([
      "words",
      "defaults",
      "injected-parameters",
      "use",
      "none",
      "skipped",
      "pid",
    ]);
    const outputs = ran.cells.map((cell) => (cell.cell_type === "code" ? said(cell.outputs) : null));
    expect(outputs.slice(0, 6)).toEqual([null, "", "", "you 42\n", "", ""]);
    expect(progress.map(({ state, number, total, index }) => [state, number, total, index])).toEqual(
      [1, 2, 3, 6].flatMap((index, i) => [
        ["started", i + 1, 4, index],
        ["done", i + 1, 4, index],
      ]),
    );
    expect(ran.metadata.language_info).toMatchObject({ name: "typescript" });
    expect(lives(Number(outputs[6]))).toBe(false);
    expect(connectionFolders().filter((name) => !before.includes(name))).toEqual([]);
    expect(parseNotebook(writeNotebook(ran), "ran.ipynb")).toEqual(ran);
  });

  it("stops at the first error, or goes on if it is told to; an expected error is none", async () => {
    const notebook = notebookOf(
      code("expected", "throw new Error('planned')", "raises-exception"),
      code("bad", "throw new RangeError('boom')"),
      code("behind", "console.log('went on')"),
    );
    const stopped = await runNotebook(notebook, { folder, now, kernel });
    expect(stopped.complete).toBe(false);
    expect(stopped.failed.map(({ index, id }) => [index, id])).toEqual([[1, "bad"]]);
    expect(stopped.notebook.cells[2]).toMatchObject({ outputs: [], execution_count: null });
    const went = await runNotebook(notebook, { folder, now, kernel, goOn: true });
    expect([went.complete, went.failed.length]).toEqual([true, 1]);
    expect(went.notebook.cells[2]).toMatchObject({ outputs: [{ name: "stdout", text: "went on\n" }] });
  });

  it("a kernel that ends by itself is an error that says so", async () => {
    const notebook = notebookOf(code("end", "process.exit(7)"));
    await expect(runNotebook(notebook, { folder, now, kernel })).rejects.toThrow(/^The kernel \w+ ended \(/);
  });
});

describe("our kernel", () => {
  it("gives results and errors as outputs of their own", async () => {
    const { notebook, failed } = await runNotebook(notebookOf(code("a", "6 * 7"), code("b", "null.x")), {
      folder,
      now,
    });
    expect(notebook.cells[0]).toMatchObject({
      execution_count: 1,
      outputs: [{ output_type: "execute_result", execution_count: 1, data: { "text/plain": "42" } }],
    });
    const cell = notebook.cells[1]!;
    const error = cell.cell_type === "code" ? cell.outputs.at(-1) : undefined;
    expect(error).toMatchObject({ output_type: "error", ename: failed[0]!.ename, evalue: failed[0]!.evalue });
  });

  it("gives the same bytes each time", async () => {
    const notebook = notebookOf(code("a", "const a = [1, 2];\na"), code("b", "console.log(a); console.error('x')"));
    const [first, second] = [
      await runNotebook(notebook, { folder, now }),
      await runNotebook(notebook, { folder, now: () => new Date(0) }),
    ];
    expect(writeNotebook(second.notebook)).toBe(writeNotebook(first.notebook));
  });

  it("100,000 lines arrive complete", async () => {
    const source = "for (let i = 0; i < 100_000; i++) console.log('line ' + i);";
    const { notebook } = await runNotebook(notebookOf(code("a", source)), { folder, now });
    expect(saidIn(notebook.cells[0]!)).toBe(Array.from({ length: 100_000 }, (_, i) => `line ${i}\n`).join(""));
  });

  it("an endless loop is stopped by a signal, and the run ends there", async () => {
    const stop = new AbortController();
    const notebook = notebookOf(code("a", "console.log(1)"), code("b", "for (;;) {}"), code("c", "console.log(2)"));
    const onCell = ({ state, index }: CellProgress) => {
      if (state === "started" && index === 1) setTimeout(() => stop.abort(), 200);
    };
    const started = performance.now();
    const ran = await runNotebook(notebook, { folder, now, onCell, signal: stop.signal });
    console.log(`an endless loop was started, stopped and left in ${Math.round(performance.now() - started)} ms`);
    expect(ran.complete).toBe(false);
    expect(ran.failed.map(({ id }) => id)).toEqual(["b"]);
  });
});

describe("nightyield run", () => {
  const path = join(folder, "n.ipynb");
  writeFileSync(
    path,
    writeNotebook(
      notebookOf(code("p", 'const limit = 3;\nconst who = "me";', "parameters"), code("u", "console.log(limit, who)")),
    ),
  );
  const run = (...args: string[]) =>
    spawnSync(process.execPath, [main, "run", ...args], { encoding: "utf8", cwd: folder, timeout: 50_000 });

  it("writes the executed notebook elsewhere, shows progress and ends with 0", () => {
    const before = readFileSync(path, "utf8");
    const ended = run(path, "--set", "limit=4", "--set=who=you there");
    expect([ended.status, ended.stderr]).toEqual([
      0,
      expect.stringMatching(/^cell 3 of 3: console.log\(limit, who\) /m),
    ]);
    const ran = parseNotebook(readFileSync(join(folder, "nightyield-out", "n.ipynb"), "utf8"), "n");
    expect(saidIn(ran.cells[2]!)).toBe("4 you there\n");
    expect(readFileSync(path, "utf8")).toBe(before);
  });

  it.each([
    [[], 2, "Give one notebook"],
    [["gone.ipynb"], 2, "Cannot read the notebook"],
    [[path, "--set", "limit"], 2, "--set is 'limit', expected NAME=VALUE"],
    [[path, "--set", "limits=3"], 2, "no parameter 'limits'. Its parameters are: limit, who"],
    [[path, "--set", "limit=three"], 2, "limit is number in the notebook (3)"],
    [[path, "--set", "who=31"], 2, "who='\"...\"'"],
  ] as const)("%j ends with %i", (args, status, says) => {
    const ended = run(...args);
    expect([ended.status, ended.stderr]).toEqual([status, expect.stringContaining(says)]);
    expect(ended.stderr).not.toContain("    at ");
  });

  it("ends with 3 where it stopped at an error and with 1 where it went on; the notebook is written in both cases", () => {
    const bad = join(folder, "bad.ipynb");
    writeFileSync(bad, writeNotebook(notebookOf(code("a", "throw new Error('boom')"), code("b", "console.log('on')"))));
    for (const [args, status, text] of [
      [[], 3, ""],
      [["--go-on"], 1, "on\n"],
    ] as const) {
      const ended = run(bad, "--out", "bad-out.ipynb", ...args);
      expect([ended.status, ended.stderr]).toEqual([status, expect.stringContaining("cell 1 failed: Error: boom")]);
      const ran = parseNotebook(readFileSync(join(folder, "bad-out.ipynb"), "utf8"), "bad-out");
      expect(saidIn(ran.cells[1]!)).toBe(text);
    }
  });

  it.skipIf(process.platform === "win32")("Ctrl-C ends the kernel too and writes nothing", async () => {
    const pidFile = join(folder, "pid");
    const endless = join(folder, "endless.ipynb");
    const source = `import { writeFileSync } from "node:fs";\nwriteFileSync(${JSON.stringify(pidFile)}, String(process.pid));\nfor (;;) {}`;
    writeFileSync(endless, writeNotebook(notebookOf(code("a", source))));
    const child = spawn(process.execPath, [main, "run", endless, "--out", "never.ipynb"], {
      cwd: folder,
      stdio: "ignore",
    });
    const ended = new Promise((done) => child.once("exit", done));
    for (let i = 0; i < 300 && !existsSync(pidFile); i++) await new Promise((done) => setTimeout(done, 50));
    await new Promise((done) => setTimeout(done, 100));
    const pid = Number(readFileSync(pidFile, "utf8"));
    expect(lives(pid)).toBe(true);
    child.kill("SIGINT");
    expect(await ended).toBe(130);
    for (let i = 0; i < 40 && lives(pid); i++) await new Promise((done) => setTimeout(done, 50));
    expect(lives(pid)).toBe(false);
    expect(existsSync(join(folder, "never.ipynb"))).toBe(false);
  });
});

describe("outputs from messages", () => {
  const message = (msg_type: string, content: object) =>
    ({ header: { msg_id: "1", msg_type }, parent_header: {}, content }) as Parameters<
      ReturnType<OutputCollector["cell"]>["take"]
    >[0];
  const show = (type: string, text: string, display_id?: string) =>
    message(type, { data: { "text/plain": text }, metadata: {}, ...(display_id && { transient: { display_id } }) });
  const stream = (text: string, name = "stdout") => message("stream", { name, text });
  const texts = (outputs: readonly Output[]) =>
    outputs.map((output) =>
      output.output_type === "stream" ? output.text : "data" in output ? output.data["text/plain"] : output.evalue,
    );

  it("an update changes what was shown under its id, in every cell, and nothing else", () => {
    const collector = new OutputCollector();
    const [one, two] = [collector.cell(), collector.cell()];
    one.take(show("display_data", "a", "x"));
    one.take(show("display_data", "b", "y"));
    two.take(show("execute_result", "c", "x"));
    two.take(show("update_display_data", "new", "x"));
    two.take(show("update_display_data", "lost", "unknown"));
    expect([texts(one.outputs), texts(two.outputs)]).toEqual([["new", "b"], ["new"]]);
    two.take(show("update_display_data", "newer", "x"));
    expect([texts(one.outputs), texts(two.outputs)]).toEqual([["newer", "b"], ["newer"]]);
  });

  it("clear_output clears at once, or with the next output", () => {
    const cell = new OutputCollector().cell();
    cell.take(stream("1"));
    cell.take(stream("2"));
    cell.take(stream("3", "stderr"));
    expect(texts(cell.outputs)).toEqual(["12", "3"]);
    cell.take(message("clear_output", { wait: true }));
    expect(texts(cell.outputs)).toEqual(["12", "3"]);
    cell.take(stream("4"));
    expect(texts(cell.outputs)).toEqual(["4"]);
    cell.take(message("clear_output", { wait: false }));
    expect(texts(cell.outputs)).toEqual([]);
  });
});

describe("parameters", () => {
  const notebook = notebookOf(
    code(
      "p",
      'const limit: number | null = null, names = ["a"];\nlet deep = -3; // words\nconst who = `me`;',
      "parameters",
    ),
    code("old", "const limit = 1", "injected-parameters"),
  );
  it("are what the tagged cell declares", () => {
    expect(parametersOf(notebook)).toEqual([
      { name: "limit", keyword: "const", type: "number | null", default: "null", kind: null },
      { name: "names", keyword: "const", type: "", default: '["a"]', kind: null },
      { name: "deep", keyword: "let", type: "", default: "-3", kind: "number" },
      { name: "who", keyword: "const", type: "", default: "`me`", kind: "text" },
    ]);
  });
  it("keep keyword and type, and replace what an earlier run injected", () => {
    const given = withParameters(notebook, { limit: 4, names: ["b", "</script>"], deep: 2, who: "it's \n you" });
    expect(given.cells.length).toBe(2);
    expect(given.cells[1]!.source.split("\n").slice(1)).toEqual([
      "const limit: number | null = 4;",
      'const names = ["b","</script>"];',
      "let deep = 2;",
      'const who = "it\'s \\n you";',
    ]);
  });
});
