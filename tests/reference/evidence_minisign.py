"""Signatures as the `py-minisign` library makes and checks them.

evidence_minisign.py verify FOLDER [FILE]  checks the signature over photos.sha256, or over FILE, with public.key;
                                    exit status 0 if it fits, 3 and the reason if not
evidence_minisign.py sign FOLDER    makes a key pair, writes public.key and the signature
"""

import pathlib
import sys

import minisign

what, folder = sys.argv[1], pathlib.Path(sys.argv[2])
name = sys.argv[3] if len(sys.argv) > 3 else "photos.sha256"
content = (folder / name).read_bytes()
signature_file = folder / f"{name}.minisig"
if what == "verify":
    key = minisign.PublicKey.from_file(folder / "public.key")
    try:
        key.verify(content, minisign.Signature.from_file(signature_file))
    except minisign.VerifyError as error:
        print(error)
        sys.exit(3)
elif what == "sign":
    pair = minisign.KeyPair.generate()
    (folder / "public.key").write_bytes(bytes(pair.public_key))
    signature = pair.secret_key.sign(content, trusted_comment="invented comment")
    signature_file.write_bytes(bytes(signature))
else:
    sys.exit(f"unknown: {what}")
