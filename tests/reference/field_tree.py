"""The root of a withheld edition's fields after RFC 9162, 2.1, with hashlib alone: field_tree.py FILE."""

import hashlib
import json
import sys


def sha256(*parts):
    return hashlib.sha256(b"".join(parts)).digest()


def leaf(field):
    if isinstance(field, str):
        return bytes.fromhex(field)
    content = json.dumps([field["path"], field["value"]], ensure_ascii=False, separators=(",", ":"))
    return sha256(b"\0", bytes.fromhex(field["salt"]), content.encode())


def root(leaves):
    if len(leaves) == 1:
        return leaves[0]
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    return sha256(b"\1", root(leaves[:k]), root(leaves[k:]))


print(root([leaf(field) for field in json.load(open(sys.argv[1], encoding="utf-8"))["fields"]]).hex())
