"""Drives one notebook kernel; a transport only, all judgement is with the caller.

Reads JSON on stdin: {"kernel": NAME, "folder": WHERE, "env": {...}, "steps": [STEP...]}; a STEP is
{"code": TEXT}, with "interrupt_after": SECONDS or "kill_after": SECONDS (kills the process that runs the cells).
Writes JSON: {"ready": SECONDS, "cells": [{"status", "stdout", "stderr", "error", "data": {MIME: TEXT}, "seconds"}]}.
"""
import fcntl
import json
import os
import subprocess
import sys
import tempfile
import threading
import time

import psutil
from jupyter_client.manager import KernelManager


def cells_process(manager):
    root = psutil.Process(manager.provisioner.pid)
    for process in root.children(recursive=True):
        try:
            if "VIALBOOK_CELLS" in process.environ():
                return process
        except psutil.Error:
            pass
    raise SystemExit("the process that runs the cells was not found")


def run(client, manager, step):
    cell = {"stdout": "", "stderr": "", "error": "", "data": {}}

    def take(message):
        content = message["content"]
        kind = message["msg_type"]
        if kind == "stream":
            cell[content["name"]] += content["text"]
        elif kind == "error":
            cell["error"] += content.get("evalue", "") + "\n" + "\n".join(content.get("traceback", []))
        elif kind in ("execute_result", "display_data"):
            cell["data"].update({m: t if isinstance(t, str) else json.dumps(t) for m, t in content["data"].items()})

    timer = None
    if "interrupt_after" in step:
        timer = threading.Timer(step["interrupt_after"], manager.interrupt_kernel)
    if "kill_after" in step:
        timer = threading.Timer(step["kill_after"], lambda: cells_process(manager).kill())
    if timer:
        timer.start()
    begun = time.perf_counter()
    reply = client.execute_interactive(step["code"], timeout=300, output_hook=take)
    cell["seconds"] = time.perf_counter() - begun
    cell["status"] = reply["content"]["status"]
    # What the kernel still says about this cell after its answer, such as that its process was started again.
    time.sleep(0.3)
    while client.iopub_channel.msg_ready():
        take(client.get_iopub_msg(timeout=1))
    return cell


def main():
    task = json.load(sys.stdin)
    manager = KernelManager(kernel_name=task["kernel"])
    # A client picks free ports, the kernel takes them later: between the two, another client could pick the same.
    with open(os.path.join(tempfile.gettempdir(), "vialbook-kernel-tests.lock"), "w") as one_at_a_time:
        fcntl.flock(one_at_a_time, fcntl.LOCK_EX)
        begun = time.perf_counter()
        # What evcxr says at its start goes to the terminal; stdout here is the answer.
        manager.start_kernel(env={**os.environ, **task.get("env", {})}, cwd=task["folder"], stdout=subprocess.DEVNULL)
        client = manager.client()
        client.start_channels()
        try:
            client.wait_for_ready(timeout=120)
        except BaseException:
            manager.shutdown_kernel(now=True)
            raise
        ready = time.perf_counter() - begun
    try:
        cells = [run(client, manager, step) for step in task["steps"]]
        json.dump({"ready": ready, "cells": cells}, sys.stdout)
    finally:
        client.stop_channels()
        manager.shutdown_kernel(now=False)


main()
