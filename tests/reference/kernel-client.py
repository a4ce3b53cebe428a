"""The kernel under jupyter_client: started, interrupted, restarted, shut down; figures as JSON on stdout.

JUPYTER_PATH says where the kernel is installed. Run by kernel-client.test.ts.
"""

import json
import time

from jupyter_client.manager import KernelManager

found = {}


def start(cwd=None):
    started = time.perf_counter()
    km = KernelManager(kernel_name="nightyield")
    km.start_kernel(cwd=cwd)
    kc = km.client()
    kc.start_channels()
    kc.wait_for_ready(timeout=30)
    return km, kc, time.perf_counter() - started


def run(kc, code, timeout=60, interrupt_after=None, km=None, **how):
    msg_id = kc.execute(code, **how)
    outputs, reply, waited = [], None, None
    began = time.perf_counter()
    sent = None
    if interrupt_after is not None:
        time.sleep(interrupt_after)
        sent = time.perf_counter()
        km.interrupt_kernel()
    while True:
        msg = kc.get_iopub_msg(timeout=timeout)
        if msg["parent_header"].get("msg_id") != msg_id:
            continue
        if msg["msg_type"] == "status" and msg["content"]["execution_state"] == "idle":
            break
        outputs.append(msg)
    if sent is not None:
        waited = time.perf_counter() - sent
    while reply is None or reply["parent_header"].get("msg_id") != msg_id:
        reply = kc.get_shell_msg(timeout=timeout)
    text = "".join(m["content"]["text"] for m in outputs if m["msg_type"] == "stream")
    return {"reply": reply["content"], "outputs": outputs, "text": text, "waited": waited, "took": time.perf_counter() - began}


km, kc, found["readyS"] = start()
first = run(kc, "1 + 1")
found["firstResult"] = [m["content"]["data"]["text/plain"] for m in first["outputs"] if m["msg_type"] == "execute_result"]
lines = run(kc, "for (let i = 0; i < 100_000; i++) console.log(`line ${i}`)")
found["linesRight"] = lines["text"] == "".join(f"line {i}\n" for i in range(100_000))
found["streamMessages"] = sum(m["msg_type"] == "stream" for m in lines["outputs"])
found["interrupts"] = {}
run(kc, "let kept = 41")
for name, code in {
    "loop": "for (;;) {}",
    "loopAfterAwait": "await new Promise((r) => setTimeout(r, 50)); for (;;) {}",
    "loopAfterMicrotask": "await 1; for (;;) {}",
    "sleep": "await new Promise((r) => setTimeout(r, 60_000))",
    "printing": "for (;;) console.log('x')",
    "loopInCallback": "[1].forEach(() => { for (;;) {} })",
}.items():
    ended = run(kc, code, interrupt_after=0.4, km=km)
    after = run(kc, "kept + 1")
    result = [m["content"]["data"]["text/plain"] for m in after["outputs"] if m["msg_type"] == "execute_result"]
    found["interrupts"][name] = {"ename": ended["reply"].get("ename"), "waitedS": ended["waited"], "after": result}
km.interrupt_kernel()
time.sleep(0.5)
found["idleInterrupt"] = run(kc, "'still here'")["reply"]["status"]
km2, kc2, _ = start()
run(kc2, "let kept = 1")
both = [run(c, "kept")["outputs"] for c in (kc, kc2)]
found["sideBySide"] = [[m["content"]["data"]["text/plain"] for m in o if m["msg_type"] == "execute_result"] for o in both]
kc2.stop_channels()
km2.shutdown_kernel()
busy = kc.execute("for (;;) {}")
time.sleep(0.3)
found["heartbeatWhileBusy"] = kc.hb_channel.is_beating()
km.interrupt_kernel()
time.sleep(0.5)
km.restart_kernel()
kc.wait_for_ready(timeout=30)
found["afterRestart"] = run(kc, "kept")["reply"].get("evalue")
kc.execute("for (;;) {}")
time.sleep(0.3)
began = time.perf_counter()
kc.stop_channels()
km.shutdown_kernel()
found["shutdownWhileBusyS"] = time.perf_counter() - began
found["alive"] = km.is_alive()
print(json.dumps(found))
