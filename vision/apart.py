"""Work on a photograph in a process of its own: one at a time, within a stated budget.

A decoder may take any memory, any time, or the whole process with it, on bytes that somebody else
wrote. So pages never decode: a child does, which may die. It gets `MOST_BYTES` of address space
(`vision.photo.containers`; where the system can limit that, which Windows and macOS don't) and
`MOST_SECONDS` for one piece of work. What it hands back may hold plain values and results only, so
that a child which a file has taken over can't hand code to the pages.
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
    f"takes more than the {MOST_BYTES / 1e9:g} GB of memory that one photograph may take; save "
    "it as JPEG, or smaller"
)
TIME = (
    f"takes more than the {MOST_SECONDS} s that one photograph may take; save it as JPEG, or "
    "smaller"
)
DIED = (
    "ended the process that reads photographs, and nothing else: it is damaged, or made to do "
    "that; send the camera's original JPEG"
)

_turn = threading.Lock()  # held while the child works: one photograph at a time
_child: subprocess.Popen[bytes] | None = None


def apart(name: str, work: Callable[P, T], *given: P.args, **named: P.kwargs) -> T:
    """Return what a function gives when it is called in the child.

    Parameters
    ----------
    name : str
        What the photograph is called in a sentence about it.
    work : callable
        A function of a module, found again by its name.
    *given, **named
        Its arguments.

    Raises
    ------
    PhotoError
        If the photograph takes more than the budget or ends the child; the next one finds a new
        child. And whatever `PhotoError` or `ValueError` the function raises.
    RuntimeError
        If the function fails otherwise: a fault in the program, with the child's trace.
    """
    call = pickle.dumps((work.__module__, work.__qualname__, given, named))
    late = threading.Event()

    def stop(child: subprocess.Popen[bytes]) -> None:
        late.set()
        child.kill()

    with _turn:
        child = _started()
        timer = threading.Timer(MOST_SECONDS, stop, [child])
        timer.start()
        try:
            _send(cast(IO[bytes], child.stdin), call)
            became, value = _Answer(io.BytesIO(_received(cast(IO[bytes], child.stdout)))).load()
        except (OSError, EOFError, pickle.UnpicklingError):
            end_child()
            raise PhotoError(f"{name} {TIME if late.is_set() else DIED}.") from None
        except BaseException:  # whoever waited was sent away: the answer must not be the next one's
            end_child()
            raise
        finally:
            timer.cancel()
        if became == "memory" or late.is_set():
            end_child()  # what it has left may be in pieces, or it was stopped a moment too late
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
    """Start the child before it is needed, so that the first photograph does not wait for it."""
    with _turn:
        _started()


def end_child() -> None:
    """End the child; the next piece of work starts another."""
    global _child
    if _child is not None:
        _child.kill()
        _child.communicate()
        _child = None


def _started() -> subprocess.Popen[bytes]:
    global _child
    if _child is None or _child.poll() is not None:
        end_child()
        # one thread and few pools of memory: a photograph takes a tenth of a second, and each
        # thread's stack and pool would count against the limit
        alone = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "MALLOC_ARENA_MAX": "2"}
        search_path = os.pathsep.join(path for path in sys.path if path)
        _child = subprocess.Popen(
            [sys.executable, "-m", "vision.apart"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, **alone, "PYTHONPATH": search_path},
        )
    return _child


atexit.register(end_child)


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
    """Reads plain values, times, results and their enumerations, and nothing that could act."""

    def find_class(self, module: str, name: str) -> Any:
        """Return a class that an answer may hold."""
        if module == "datetime" and name in ("date", "datetime", "timedelta", "timezone"):
            return super().find_class(module, name)
        if module in ("vision.results", "vision.uncertainty"):
            kind = super().find_class(module, name)
            if isinstance(kind, type) and (is_dataclass(kind) or issubclass(kind, Enum)):
                return kind
        raise pickle.UnpicklingError(f"{module}.{name}")


# ---- in the child ---------------------------------------------------------------------------


def _serve() -> None:
    """Do one piece of work after the other until the parent closes the pipe."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C is the parent's matter
    calls, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # a library that prints must not speak between the answers
    with contextlib.suppress(ImportError):  # not on Windows
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    import cv2

    cv2.setNumThreads(1)
    importlib.import_module("vision.pipeline")
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
    """Return a value with numpy's numbers as Python's own, at any depth."""
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
