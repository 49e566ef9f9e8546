"""Write registry.json, the sha256 of every data file: `python -m liltwright.models.register`."""

import hashlib
import json
from pathlib import Path

HERE = Path(__file__).parent
KINDS = {".json", ".npz", ".onnx", ".toml"}


def checksums() -> dict[str, str]:
    """sha256 by path relative to models/, for every data file."""
    return {
        path.relative_to(HERE).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(HERE.rglob("*"))
        if path.suffix in KINDS and path.name != "registry.json"
    }


def main() -> None:
    """Renew the registry."""
    text = json.dumps(checksums(), indent=1) + "\n"
    (HERE / "registry.json").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
