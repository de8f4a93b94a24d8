"""Reads a WebVTT file of chapters with webvtt-py and prints its cues as JSON.

A file that is not WebVTT ends the program with an error.
"""

import json
import sys

import webvtt

cues = [
    {"start": cue.start, "end": cue.end, "seconds": [cue.start_in_seconds, cue.end_in_seconds], "text": cue.text}
    for cue in webvtt.read(sys.argv[1])
]
print(json.dumps(cues, ensure_ascii=False))
