// What a kernel must not take: forged, repeated, broken and oversized messages. The session goes on after each.
import { randomBytes } from "node:crypto";
import { connect } from "node:net";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { Session } from "./jupyter-session.js";

let kernel: Session;
beforeAll(async () => {
  kernel = await (await Session.start()).ready();
  await kernel.run("globalThis.count = 0");
}, 60_000);
afterAll(() => kernel.stop());

const delimiter = "<IDS|MSG>";
const counting = { code: "(globalThis as any).count++", silent: false, store_history: false };
const right = () => kernel.parts("execute_request", counting);
const count = () => kernel.text("(globalThis as any).count");

describe("messages that are refused", () => {
  it.each([
    ["a wrong signature", () => [delimiter, "0".repeat(64), ...right()]],
    ["a signature that is too short", () => [delimiter, "abc", ...right()]],
    ["no signature", () => [delimiter, "", ...right()]],
    ["a signature of another message", () => [delimiter, kernel.sign(kernel.parts("x", {})), ...right()]],
    ["no delimiter", () => ["x", ...right()]],
    [
      "too few parts",
      () => {
        const parts = right().slice(0, 3);
        return [delimiter, kernel.sign(parts), ...parts];
      },
    ],
    [
      "a signed text that is not JSON",
      () => {
        const parts = ["{", "{}", "{}", "{}"];
        return [delimiter, kernel.sign(parts), ...parts];
      },
    ],
    [
      "a signed header without fields",
      () => {
        const parts = ["{}", "{}", "{}", "{}"];
        return [delimiter, kernel.sign(parts), ...parts];
      },
    ],
    [
      "a signed content that is a list",
      () => {
        const parts = [...right().slice(0, 3), "[]"];
        return [delimiter, kernel.sign(parts), ...parts];
      },
    ],
    ["random bytes", () => [randomBytes(1000), randomBytes(10)]],
    ["an empty frame", () => [""]],
  ] as const)("%s", async (_, frames) => {
    const before = await count();
    for (const channel of ["shell", "control", "stdin"] as const) await kernel.raw(channel, [...frames()]);
    expect(await count()).toBe(before);
    expect(await kernel.beats()).toBe(true);
  });

  it("the same message twice runs once", async () => {
    const before = Number(await count());
    const parts = right();
    const frames = () => [delimiter, kernel.sign(parts), ...parts];
    await kernel.raw("shell", frames());
    await kernel.raw("shell", frames());
    expect(Number(await count())).toBe(before + 1);
  });

  it("an execute_request without code gets an error, an unknown request gets busy and idle", async () => {
    expect((await kernel.ask("execute_request", { silent: false })).content).toMatchObject({
      status: "error",
      ename: "BadRequest",
    });
    const id = kernel.send("conjure_request", {});
    await kernel.until(() => (kernel.of(id).length === 2 ? true : undefined), "busy and idle");
    expect(kernel.of(id).map((m) => m.content.execution_state)).toEqual(["busy", "idle"]);
  });

  it("bytes that are no message protocol at all, and a frame that claims 8 GB", async () => {
    const port = Number(/:(\d+)$/.exec(kernel.heartbeat)![1]);
    for (const bytes of [randomBytes(5000), Buffer.from("GET / HTTP/1.1\r\n\r\n")]) {
      const socket = connect(port, "127.0.0.1");
      socket.on("error", () => {});
      socket.write(bytes);
      await new Promise((resolve) => setTimeout(resolve, 50));
      socket.destroy();
    }
    // ZMTP 3.0: greeting, READY, then the head of a long frame (RFC 23/ZMTP).
    const greeting = Buffer.alloc(64);
    Buffer.from([0xff, 0, 0, 0, 0, 0, 0, 0, 0, 0x7f, 3, 0]).copy(greeting);
    greeting.write("NULL", 12);
    const property = (name: string, value: string) => {
      const size = Buffer.alloc(4);
      size.writeUInt32BE(value.length);
      return Buffer.concat([Buffer.from([name.length]), Buffer.from(name), size, Buffer.from(value)]);
    };
    const body = Buffer.concat([Buffer.from([5]), Buffer.from("READY"), property("Socket-Type", "REQ")]);
    const ready = Buffer.concat([Buffer.from([4, body.length]), body]);
    const head = Buffer.from([2, 0, 0, 0, 2, 0, 0, 0, 0]);
    const socket = connect(port, "127.0.0.1");
    const closed = new Promise<void>((resolve) => socket.on("close", () => resolve()));
    socket.on("error", () => {});
    socket.resume();
    socket.write(greeting);
    await new Promise((resolve) => setTimeout(resolve, 100));
    socket.write(ready);
    await new Promise((resolve) => setTimeout(resolve, 100));
    socket.write(Buffer.concat([head, randomBytes(1000)]));
    await Promise.race([closed, new Promise((_, reject) => setTimeout(() => reject(new Error("not cut off")), 5000))]);
    expect(await kernel.beats()).toBe(true);
    expect(await kernel.text("1 + 1")).toBe("2");
  });

  it("a message of 65 MB is not read, and another client is served on", async () => {
    const big = Buffer.alloc(65 * 1024 * 1024, 32);
    const other = await (await Session.start()).ready();
    const parts = [...other.parts("execute_request", counting).slice(0, 3), big.toString()];
    await other.raw("shell", [delimiter, other.sign(parts), ...parts]);
    await new Promise((resolve) => setTimeout(resolve, 500));
    expect(await other.beats()).toBe(true);
    expect(await other.text("1 + 1")).toBe("2");
    await other.stop();
  });
});
