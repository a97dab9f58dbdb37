"""The packages of the installation: versions, licences, sizes and hashes.

    python .deploy/supply.py list    # packages with version, licence and size
    python .deploy/supply.py bom     # the same as CycloneDX 1.5 JSON, for a release
    python .deploy/supply.py lock    # pip's requirements for a team, with each file's SHA-256

`list` and `bom` read the environment they run in; `--extra team` adds the packages for logins.
`lock` queries the package index that pip is configured for, and does not write its address.
"""

from __future__ import annotations

import argparse
import json
import re
import subprocess
import sys
import tomllib
import uuid
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parent.parent
OURS = "rope-photo-check"
# Streamlit requires them but loads them only for features these pages don't use: maps, a
# repository's address, reloading of changed files. Left out of the team's lock.
NOT_NEEDED = ("pydeck", "gitpython", "gitdb", "smmap", "watchdog")
SERVER = ("team", "postgres")  # extras of a team's server, all in its lock


def normal(name: str) -> str:
    """Return a package's normalized name (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def project() -> dict[str, Any]:
    """Return the project table of pyproject.toml."""
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    table: dict[str, Any] = tomllib.loads(text)["project"]
    return table


def installed(extra: str = "") -> dict[str, Distribution]:
    """Return every package that the installation needs and has, by name."""
    table = project()
    texts = table["dependencies"] + (table["optional-dependencies"][extra] if extra else [])
    ours = [Requirement(text) for text in texts]
    found: dict[str, Distribution] = {}
    waiting = [(normal(one.name), frozenset(one.extras)) for one in ours]
    seen = set(waiting)
    while waiting:
        name, extras = waiting.pop()
        try:
            one = distribution(name)
        except PackageNotFoundError:
            continue
        found[normal(name)] = one
        for text in one.requires or ():
            needed = Requirement(text)
            environments = [{"extra": chosen} for chosen in (*extras, "")]
            if needed.marker and not any(needed.marker.evaluate(e) for e in environments):
                continue
            further = (normal(needed.name), frozenset(needed.extras))
            if further not in seen:
                seen.add(further)
                waiting.append(further)
    return dict(sorted(found.items()))


def licence(one: Distribution) -> str:
    """Return a package's licence as its metadata states it: an SPDX expression, or text."""
    metadata = one.metadata
    if expression := metadata.get("License-Expression"):
        return str(expression)
    listed = [
        value.rsplit(" :: ", 1)[-1]
        for value in metadata.get_all("Classifier") or ()
        if value.startswith("License :: ") and value.count(" :: ") > 1
    ]
    if listed:
        return " AND ".join(listed)
    return (str(metadata.get("License") or "").strip().splitlines() or ["not stated"])[0][:80]


def megabytes(one: Distribution) -> float:
    """Return the disk space of a package's files, MB."""
    return sum(file.size or 0 for file in one.files or ()) / 1e6


def bom(extra: str = "") -> dict[str, object]:
    """Return a bill of materials as CycloneDX 1.5 (cyclonedx.org/docs/1.5/json)."""
    components = [
        {
            "type": "library",
            "bom-ref": f"pkg:pypi/{name}@{one.version}",
            "name": name,
            "version": one.version,
            "purl": f"pkg:pypi/{name}@{one.version}",
            "licenses": [{"license": {"name": licence(one)}}],
        }
        for name, one in installed(extra).items()
    ]
    version = project()["version"]
    named = json.dumps(components, sort_keys=True)
    return {
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        # the same components give the same number, so that a release is reproducible
        "serialNumber": f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, named)}",
        "version": 1,
        "metadata": {
            "component": {
                "type": "application",
                "bom-ref": f"pkg:pypi/{OURS}@{version}",
                "name": OURS,
                "version": version,
            }
        },
        "components": components,
    }


def lock() -> str:
    """Return pip's requirements for a team, each pinned with the hash of its file."""
    wanted = f"{ROOT}[{','.join(SERVER)}]"
    command = [sys.executable, "-m", "pip", "install", "--dry-run", "--ignore-installed", "--quiet",
               "--only-binary", ":all:", "--report", "-", wanted]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    report = json.loads(done.stdout)
    system = report["environment"]
    lines = [
        f"# For {system['sys_platform']} {system['platform_machine']}, Python "
        f"{system['python_version']}. Made by `python .deploy/supply.py lock`; install with",
        "#   pip install --require-hashes --no-deps -r .deploy/requirements-team.txt",
        "#   pip install --no-deps .",
    ]
    for item in sorted(report["install"], key=lambda one: normal(one["metadata"]["name"])):
        name, version = normal(item["metadata"]["name"]), item["metadata"]["version"]
        if name != OURS and name not in NOT_NEEDED:
            sha256 = item["download_info"]["archive_info"]["hashes"]["sha256"]
            lines.append(f"{name}=={version} --hash=sha256:{sha256}")
    return "\n".join(lines)


def main() -> None:
    """Print the list, the bill of materials or the lock."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("what", choices=["list", "bom", "lock"])
    parser.add_argument("--extra", default="")
    options = parser.parse_args()
    if options.what == "bom":
        print(json.dumps(bom(options.extra), indent=1))
    elif options.what == "lock":
        print(lock())
    else:
        found = installed(options.extra)
        for name, one in sorted(found.items(), key=lambda pair: -megabytes(pair[1])):
            print(f"{megabytes(one):7.1f} MB  {name} {one.version}  ({licence(one)})")
        print(f"{sum(map(megabytes, found.values())):7.1f} MB  in {len(found)} packages")


if __name__ == "__main__":
    main()
