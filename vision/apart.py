"""Work on a photograph in a separate process: one at a time, within a stated budget.

A decoder given untrusted bytes may use any amount of memory or time, or crash the process. So the
pages never decode: a child process does, which may die. It gets `MOST_BYTES` of address space
(`vision.photo.containers`; only where the system can limit that, so not on Windows and macOS) and
`MOST_SECONDS` for one piece of work. Its answers may contain only plain values and results, so
that a child compromised by a file can't pass code to the pages.
"""

from __future__ import annotations

import atexit
import contextlib
import importlib
import io
import os
import pickle
import signal
import struct
import subprocess
import sys
import threading
import traceback
from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from typing import IO, Any, ParamSpec, TypeVar, cast

from vision.photo.containers import MOST_BYTES, MOST_SECONDS, PhotoError

P = ParamSpec("P")
T = TypeVar("T")

MOST_ANSWER_BYTES = 100_000_000
MEMORY = (
    f"takes more than the {MOST_BYTES / 1e9:g} GB of memory allowed for one photograph; save it "
    "as JPEG, or smaller"
)
TIME = (
    f"takes more than the {MOST_SECONDS} s allowed for one photograph; save it as JPEG, or smaller"
)
DIED = (
    "ended the process that reads photographs, and nothing else: it is damaged, or made to do "
    "that; send the camera's original JPEG"
)
STOPPED = "was not finished because the program is ending"

_lock = threading.Lock()  # held while the child works: one photograph at a time
_child: subprocess.Popen[bytes] | None = None
_stopping = threading.Event()


class StoppedError(Exception):
    """Work was cut short because the program is ending; the photograph is not the cause."""


def apart(name: str, work: Callable[P, T], *given: P.args, **named: P.kwargs) -> T:
    """Call a function in the child and return its result.

    Parameters
    ----------
    name : str
        The photograph's name in messages.
    work : callable
        A module-level function, which the child looks up by its name.
    *given, **named
        Its arguments.

    Raises
    ------
    PhotoError
        If the photograph exceeds the budget or ends the child, which is then replaced; also any
        `PhotoError` that the function raises, and likewise any `ValueError`.
    RuntimeError
        If the function fails in another way: a bug in the program, with the child's traceback.
    StoppedError
        If the program is ending (`stop`).
    """
    call = pickle.dumps((work.__module__, work.__qualname__, given, named))
    late = threading.Event()

    def stop(child: subprocess.Popen[bytes]) -> None:
        late.set()
        child.kill()

    with _lock:
        if _stopping.is_set():
            raise StoppedError(f"{name} {STOPPED}.")
        child = _started()
        timer = threading.Timer(MOST_SECONDS, stop, [child])
        timer.start()
        try:
            _send(cast(IO[bytes], child.stdin), call)
            became, value = _Answer(io.BytesIO(_received(cast(IO[bytes], child.stdout)))).load()
        except BaseException as fault:  # the pending answer must not go to the next caller
            end_child()
            if _stopping.is_set():
                raise StoppedError(f"{name} {STOPPED}.") from None
            if isinstance(fault, OSError | EOFError | pickle.UnpicklingError):
                raise PhotoError(f"{name} {TIME if late.is_set() else DIED}.") from None
            raise
        finally:
            timer.cancel()
        if became == "memory" or late.is_set():
            end_child()  # its state may be corrupt, or it was killed just after it answered
    match became:
        case "done":
            return cast(T, value)
        case "memory":
            raise PhotoError(f"{name} {MEMORY}.")
        case "no photograph":
            raise PhotoError(value)
        case "refused":
            raise ValueError(value)
        case _:
            raise RuntimeError(f"in the process that reads photographs:\n{value}")


def start_child() -> None:
    """Start the child in advance, so that the first photograph does not have to wait for it."""
    with _lock:
        _started()


def end_child() -> None:
    """End the child; the next piece of work starts another."""
    global _child
    ended, _child = _child, None  # two threads may end it at the same time
    if ended is not None:
        ended.kill()
        ended.communicate()


def stop() -> None:
    """End the child because the program is ending; work in progress raises `StoppedError`."""
    _stopping.set()
    end_child()


def is_stopping() -> bool:
    """Return whether the program is ending."""
    return _stopping.is_set()


def _started() -> subprocess.Popen[bytes]:
    global _child
    if _child is None or _child.poll() is not None:
        end_child()
        # one thread and few memory pools: a photograph takes a tenth of a second, and each thread's
        # stack and pool would count towards the memory limit
        alone = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MALLOC_ARENA_MAX": "2"}
        search_path = os.pathsep.join(path for path in sys.path if path)
        _child = subprocess.Popen(
            [sys.executable, "-m", "vision.apart"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, **alone, "PYTHONPATH": search_path},
        )
    return _child


atexit.register(stop)


def _send(file: IO[bytes], message: bytes) -> None:
    file.write(struct.pack("<Q", len(message)) + message)
    file.flush()


def _received(file: IO[bytes], most: int = MOST_ANSWER_BYTES) -> bytes:
    head = file.read(8)
    if len(head) < 8 or (size := struct.unpack("<Q", head)[0]) > most:
        raise EOFError
    message = file.read(size)
    if len(message) < size:
        raise EOFError
    return message


class _Answer(pickle.Unpickler):
    """Reads plain values, times, results and their enumerations, and nothing executable."""

    def find_class(self, module: str, name: str) -> Any:
        """Return a class that an answer may contain."""
        if module == "datetime" and name in ("date", "datetime", "timedelta", "timezone"):
            return super().find_class(module, name)
        if module in ("vision.results", "vision.uncertainty"):
            kind = super().find_class(module, name)
            if isinstance(kind, type) and (is_dataclass(kind) or issubclass(kind, Enum)):
                return kind
        raise pickle.UnpicklingError(f"{module}.{name}")


# ---- in the child ---------------------------------------------------------------------------


def _serve() -> None:
    """Do one piece of work after another until the parent closes the pipe."""
    for sent in (signal.SIGINT, signal.SIGTERM):  # the parent handles Ctrl+C and an orderly stop
        signal.signal(sent, signal.SIG_IGN)
    calls, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # a library's printed output must not get mixed with the answers
    with contextlib.suppress(ImportError):  # not on Windows
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    import cv2

    cv2.setNumThreads(1)
    # the first rope does not wait for them
    for name in ("vision.pipeline", "scipy.signal", "skimage.feature"):
        importlib.import_module(name)
    while True:
        try:
            call = _received(calls, most=2 * MOST_BYTES)
        except EOFError:
            return
        _send(answers, pickle.dumps(_done(call)))
        del call


def _done(call: bytes) -> tuple[str, object]:
    import cv2

    try:
        module, name, given, named = pickle.loads(call)
        return "done", _plain(getattr(importlib.import_module(module), name)(*given, **named))
    except MemoryError:
        return "memory", None
    except PhotoError as refused:
        return "no photograph", str(refused)
    except ValueError as refused:
        return "refused", str(refused)
    except cv2.error as failed:
        no_memory = failed.code == cv2.Error.StsNoMem
        return ("memory", None) if no_memory else ("fault", traceback.format_exc())
    except Exception:
        return "fault", traceback.format_exc()


def _plain(value: Any) -> Any:
    """Return a value with NumPy numbers converted to Python's own, at any depth."""
    import numpy as np

    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, list | tuple):
        return type(value)(map(_plain, value))
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{f.name: _plain(getattr(value, f.name)) for f in fields(value)})
    return value


if __name__ == "__main__":
    _serve()
