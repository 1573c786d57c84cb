"""Answers every cell with the reason why the kernel could not start."""
import os

from ipykernel.kernelapp import IPKernelApp
from ipykernel.kernelbase import Kernel

REASON = os.environ["VIALBOOK_REASON"]


class StandIn(Kernel):
    implementation = "vialbook"
    implementation_version = "0"
    banner = REASON
    language_info = {"name": "Rust", "mimetype": "text/rust", "file_extension": ".rs"}

    async def do_execute(self, code, silent, store_history=True, user_expressions=None, allow_stdin=False, **_):
        error = {"ename": "kernel not ready", "evalue": REASON, "traceback": REASON.splitlines()}
        self.send_response(self.iopub_socket, "error", error)
        return {"status": "error", "execution_count": self.execution_count, **error}


IPKernelApp.launch_instance(kernel_class=StandIn)
