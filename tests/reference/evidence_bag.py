"""Bags as the Library of Congress `bagit` library sees them.

evidence_bag.py make FOLDER       turns a folder into a bag in place (SHA-256 and SHA-512)
evidence_bag.py validate FOLDER   exit status 0 if the bag is valid, 3 and the reason if not
"""

import sys

import bagit

what, folder = sys.argv[1:]
if what == "make":
    bagit.make_bag(folder, {"Source-Organization": "Invented"}, checksums=["sha256", "sha512"])
elif what == "validate":
    try:
        bagit.Bag(folder).validate()
    except bagit.BagError as error:
        print(error)
        sys.exit(3)
    print("valid")
else:
    sys.exit(f"unknown: {what}")
