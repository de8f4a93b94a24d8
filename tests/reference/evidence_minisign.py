"""Signatures as the `py-minisign` library makes and checks them.

evidence_minisign.py verify FOLDER  checks photos.sha256.minisig over photos.sha256 with public.key;
                                    exit status 0 if it fits, 3 and the reason if not
evidence_minisign.py sign FOLDER    makes a key pair, writes public.key and the signature
"""

import pathlib
import sys

import minisign

what, folder = sys.argv[1], pathlib.Path(sys.argv[2])
content = (folder / "photos.sha256").read_bytes()
signature_file = folder / "photos.sha256.minisig"
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
