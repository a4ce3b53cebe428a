// The kernel's side of every message of the Jupyter protocol 5.3, as its documentation has it
// ("Messaging in Jupyter", jupyter-client.readthedocs.io, messaging.html). Expected fields are written from there.
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { type Received, Session, streamText } from "./jupyter-session.js";

let kernel: Session;
beforeAll(async () => {
  kernel = await (await Session.start()).ready();
}, 60_000);
afterAll(() => kernel.stop());

const states = (messages: readonly Received[]) =>
  messages.filter((m) => m.type === "status").map((m) => m.content.execution_state);
const types = (messages: readonly Received[]) => messages.filter((m) => m.type !== "status").map((m) => m.type);

describe("requests on shell", () => {
  it("kernel_info: language, version of the protocol, busy and idle around it", async () => {
    const { reply, iopub, content } = await kernel.ask("kernel_info_request");
    expect(reply.type).toBe("kernel_info_reply");
    expect(content).toMatchObject({ status: "ok", protocol_version: "5.3", implementation: "nightyield" });
    expect(content.language_info).toMatchObject({
      name: "typescript",
      file_extension: ".ts",
      mimetype: "text/typescript",
    });
    expect(content.banner).toEqual(expect.any(String));
    expect(states(iopub)).toEqual(["busy", "idle"]);
  });

  it("execute: input, result, reply, each once and in order", async () => {
    const { reply, iopub, content } = await kernel.run("console.log('light'); 6 * 7");
    expect(reply.type).toBe("execute_reply");
    expect(types(iopub)).toEqual(["execute_input", "stream", "execute_result"]);
    expect(states(iopub)).toEqual(["busy", "idle"]);
    const [input, , result] = iopub.filter((m) => m.type !== "status");
    expect(input!.content).toEqual({ code: "console.log('light'); 6 * 7", execution_count: content.execution_count });
    expect(result!.content).toMatchObject({
      execution_count: content.execution_count,
      data: { "text/plain": "42" },
      metadata: {},
    });
    expect(content).toMatchObject({ status: "ok", user_expressions: {}, payload: [] });
  });

  it("execute: counts only what is stored, and a silent cell shows nothing", async () => {
    const first = (await kernel.run("1")).content.execution_count as number;
    const unstored = await kernel.run("2", { store_history: false });
    expect(unstored.content.execution_count).toBe(first);
    const silent = await kernel.run("console.log('unseen'); 3", { silent: true });
    expect(types(silent.iopub)).toEqual([]);
    expect(states(silent.iopub)).toEqual(["busy", "idle"]);
    expect((await kernel.run("4")).content.execution_count).toBe(first + 1);
  });

  it("execute: user_expressions, right and wrong, leave the reply ok", async () => {
    const { content } = await kernel.run("const subs = 40", {
      user_expressions: { half: "subs / 2", none: "no.such" },
    });
    expect(content.status).toBe("ok");
    const values = content.user_expressions as Record<string, Record<string, unknown>>;
    expect(values.half).toEqual({ status: "ok", data: { "text/plain": "20" }, metadata: {} });
    expect(values.none).toMatchObject({ status: "error", ename: expect.any(String), traceback: expect.any(Array) });
  });

  it("error: name, message and the cell's own line, the same on iopub and in the reply", async () => {
    const { iopub, content } = await kernel.run(
      "const a = 1;\nfunction deep() {\n  throw new RangeError('too far');\n}\ndeep()",
    );
    const error = iopub.find((m) => m.type === "error")!;
    const { status, execution_count, ...rest } = content;
    expect(status).toBe("error");
    expect(error.content).toEqual(rest);
    expect(content).toMatchObject({ ename: "RangeError", evalue: "too far" });
    const trace = (content.traceback as string[]).join("\n");
    expect(trace).toContain(`at deep (Cell [${execution_count}]:3:9)`);
    expect(trace).toContain(`Cell [${execution_count}]:5:1`);
    expect(trace).not.toMatch(/node:internal|dist\/kernel/);
  });

  it("stop_on_error: cells that wait are aborted, unless it is off", async () => {
    const sent = ["await new Promise((r) => setTimeout(r, 200)); throw 1", "'second'", "'third'"].map((code) =>
      kernel.begin(code),
    );
    const info = kernel.send("kernel_info_request");
    const answers = await Promise.all(sent.map((id) => kernel.answered(id)));
    expect(answers.map(({ content }) => content.status)).toEqual(["error", "aborted", "aborted"]);
    for (const { iopub } of answers.slice(1)) expect(states(iopub)).toEqual(["busy", "idle"]);
    expect((await kernel.answered(info)).content.status).toBe("ok");
    const on = ["await new Promise((r) => setTimeout(r, 200)); throw 1", "'second'"].map((code) =>
      kernel.begin(code, { stop_on_error: false }),
    );
    const goOn = await Promise.all(on.map((id) => kernel.answered(id)));
    expect(goOn.map(({ content }) => content.status)).toEqual(["error", "ok"]);
  });

  it("complete: positions in code points, also behind characters of two units", async () => {
    const code = "const s = '🌌🌌'; s.toUp";
    const { content } = await kernel.ask("complete_request", { code, cursor_pos: [...code].length });
    expect(content).toMatchObject({ status: "ok", cursor_start: [...code].length - 4, cursor_end: [...code].length });
    expect(content.matches).toEqual(["toUpperCase"]);
    await kernel.run("const seeingArcsec = 2.5");
    const own = await kernel.ask("complete_request", { code: "seeing", cursor_pos: 6 });
    expect(own.content).toMatchObject({ matches: ["seeingArcsec"], cursor_start: 0, cursor_end: 6 });
  });

  it("inspect: type and documentation, and found: false for nothing", async () => {
    await kernel.run("/** Width of the stars. */\nconst fwhmPx = 3.25");
    const { content } = await kernel.ask("inspect_request", { code: "fwhmPx", cursor_pos: 3, detail_level: 0 });
    expect(content).toMatchObject({ status: "ok", found: true });
    const text = (content.data as Record<string, string>)["text/plain"]!;
    expect(text).toContain("fwhmPx: 3.25");
    expect(text).toContain("Width of the stars.");
    const nothing = await kernel.ask("inspect_request", { code: "   ", cursor_pos: 1, detail_level: 0 });
    expect(nothing.content).toMatchObject({ status: "ok", found: false, data: {} });
  });

  it.each([
    ["const a = 1", "complete"],
    ["for (const x of [1]) {", "incomplete"],
    ["`open", "incomplete"],
    ["f(1,", "incomplete"],
    ["a b c", "invalid"],
    ["let x = ]", "invalid"],
  ])("is_complete: %j is %s", async (code, status) => {
    const { content } = await kernel.ask("is_complete_request", { code });
    expect(content.status).toBe(status);
    expect(content.indent).toEqual(status === "incomplete" ? expect.any(String) : undefined);
  });

  it("history: tail, range, search, unique, with outputs", async () => {
    const count = (await kernel.run("'first marked'")).content.execution_count as number;
    await kernel.run("'second marked'");
    await kernel.run("'second marked'");
    const ask = async (content: object) =>
      (await kernel.ask("history_request", { output: false, raw: true, ...content })).content.history as unknown[][];
    expect((await ask({ hist_access_type: "tail", n: 2 })).map(([, , code]) => code)).toEqual([
      "'second marked'",
      "'second marked'",
    ]);
    const [[session, line, code]] = (await ask({
      hist_access_type: "range",
      session: 0,
      start: count,
      stop: count + 1,
    })) as [unknown[]];
    expect([line, code]).toEqual([count, "'first marked'"]);
    expect(session).toEqual(expect.any(Number));
    expect((await ask({ hist_access_type: "search", pattern: "'second m*" })).length).toBe(2);
    expect((await ask({ hist_access_type: "search", pattern: "'second m*", unique: true })).length).toBe(1);
    const [[, , both]] = (await ask({ hist_access_type: "tail", n: 1, output: true })) as [unknown[]];
    expect(both).toEqual(["'second marked'", "'second marked'"]);
  });

  it("comm: opened, written to, asked for and closed, from both sides", async () => {
    await kernel.run(
      "const heard: unknown[] = []; comms.register('sky', (comm, data) => { heard.push(data); comm.onMessage = (d) => { heard.push(d); comm.send({ echo: d }); }; comm.onClose = () => heard.push('closed'); })",
    );
    const opened = kernel.send("comm_open", { comm_id: "c1", target_name: "sky", data: { at: 1 } });
    const idle = (id: string) =>
      kernel.until(() => (states(kernel.of(id)).includes("idle") ? true : undefined), "idle");
    await idle(opened);
    const info = await kernel.ask("comm_info_request", { target_name: "sky" });
    expect(info.content).toEqual({ status: "ok", comms: { c1: { target_name: "sky" } } });
    const sent = kernel.send("comm_msg", { comm_id: "c1", data: { at: 2 } });
    await idle(sent);
    expect(kernel.of(sent, "iopub").find((m) => m.type === "comm_msg")!.content).toEqual({
      comm_id: "c1",
      data: { echo: { at: 2 } },
    });
    await idle(kernel.send("comm_close", { comm_id: "c1", data: {} }));
    expect(await kernel.text("heard")).toBe("[ { at: 1 }, { at: 2 }, 'closed' ]");
    expect((await kernel.ask("comm_info_request")).content.comms).toEqual({});
    const unknown = kernel.send("comm_open", { comm_id: "c2", target_name: "nobody", data: {} });
    await idle(unknown);
    expect(types(kernel.of(unknown, "iopub"))).toEqual(["comm_close"]);
    const { iopub } = await kernel.run(
      "const line = comms.open('widget', { a: 1 }); line.send({ b: 2 }); line.close(); 0",
    );
    expect(types(iopub)).toEqual(["execute_input", "comm_open", "comm_msg", "comm_close", "execute_result"]);
  });

  it("input_request: asked on stdin, answered, refused where nobody can answer", async () => {
    const id = kernel.begin("const name = await input('Target? '); name.toUpperCase()", { allow_stdin: true });
    const question = await kernel.until(() => kernel.of(id, "stdin")[0], "input_request");
    expect(question.type).toBe("input_request");
    expect(question.content).toEqual({ prompt: "Target? ", password: false });
    kernel.send("input_reply", { status: "ok", value: "m 31" }, "stdin");
    const { iopub } = await kernel.answered(id);
    expect(iopub.find((m) => m.type === "execute_result")!.content.data).toEqual({ "text/plain": "'M 31'" });
    expect((await kernel.run("await input('?')")).content).toMatchObject({ status: "error", ename: "CallError" });
  });
});

describe("output", () => {
  it("display_data and update_display_data share an id", async () => {
    const { iopub } = await kernel.run(
      "const place = show('first'); place.update('second'); display({ 'text/html': '<i>x</i>' }, { id: 'mine' });",
    );
    const shown = iopub.filter((m) => m.type.endsWith("display_data"));
    expect(shown.map((m) => m.type)).toEqual(["display_data", "update_display_data", "display_data"]);
    const ids = shown.map((m) => (m.content.transient as { display_id: string }).display_id);
    expect(ids[0]).toBe(ids[1]);
    expect(ids[2]).toBe("mine");
    expect(shown[1]!.content.data).toEqual({ "text/plain": "'second'" });
    expect(types(iopub)).not.toContain("execute_result");
  });

  it("clear_output", async () => {
    const { iopub } = await kernel.run("clearOutput({ wait: true })");
    expect(iopub.find((m) => m.type === "clear_output")!.content).toEqual({ wait: true });
  });

  it("streams: both names, in order, bytes split inside a character, nothing lost of 100,000 lines", async () => {
    const { iopub } = await kernel.run(
      "process.stdout.write('a'); process.stderr.write('b'); process.stdout.write(Buffer.from([0xc3])); process.stdout.write(Buffer.from([0xa9]));",
    );
    expect(iopub.filter((m) => m.type === "stream").map((m) => [m.content.name, m.content.text])).toEqual([
      ["stdout", "a"],
      ["stderr", "b"],
      ["stdout", "é"],
    ]);
    const many = await kernel.run("for (let i = 0; i < 100_000; i++) console.log(i)");
    expect(streamText(many.iopub)).toBe(Array.from({ length: 100_000 }, (_, i) => `${i}\n`).join(""));
    const messages = many.iopub.filter((m) => m.type === "stream").length;
    console.log(`100,000 lines came in ${messages} messages`);
    expect(messages).toBeLessThan(1000);
  });

  it("what a program prints while it is busy is seen before it ends", async () => {
    const id = kernel.begin(
      "console.log('early'); console.log('more'); const end = Date.now() + 1500; while (Date.now() < end) { if (Date.now() % 200 === 0) console.log('.'); }",
    );
    const early = await kernel.until(() => kernel.of(id).find((m) => m.type === "stream"), "stream", 1200);
    expect(early.content.text).toContain("early");
    expect(states(kernel.of(id))).toEqual(["busy"]);
    await kernel.answered(id);
  });
});

describe("control", () => {
  it("answers, and the heart beats, while a cell is busy; an interrupt ends it within a second", async () => {
    const id = kernel.begin("for (;;) {}");
    await kernel.until(() => kernel.of(id).find((m) => m.type === "execute_input"), "execute_input");
    expect((await kernel.ask("kernel_info_request", {}, "control")).content.status).toBe("ok");
    expect(await kernel.beats()).toBe(true);
    const began = performance.now();
    const interrupt = await kernel.ask("interrupt_request", {}, "control");
    expect(interrupt.reply.type).toBe("interrupt_reply");
    const { content } = await kernel.answered(id);
    expect(performance.now() - began).toBeLessThan(1000);
    expect(content).toMatchObject({ status: "error", ename: "KeyboardInterrupt" });
    expect(await kernel.text("'goes on'")).toBe("'goes on'");
  });
});
