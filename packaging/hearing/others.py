"""Hears clips with PocketSphinx 5 along a grammar of the same phrases, no rejection.

usage: others.py ASK OUT    (chalkhand hearing --bench does it)

ASK is a JSON file: files, commands (phrases), wholes (numbers in words, from one
up), fractions (in words). OUT gets a line of JSON for each file: file, heard.
"""

import json
import multiprocessing
import pathlib
import sys

from pocketsphinx import Decoder

import noise
from voices import read

RATE = 16_000
# Words that its dictionary lacks, in its own phones.
PRONOUNCED = {"logbook": "L AO G B UH K", "sixteenths": "S IH K S T IY N TH S",
              "eighths": "EY T TH S", "sixteenth": "S IH K S T IY N TH"}


def grammar(ask):
    either = " | ".join
    lines = [
        "#JSGF V1.0;",
        "grammar said;",
        f"<command> = {either(ask['commands'])};",
        f"<whole> = {either(ask['wholes'])};",
        f"<small> = {either(ask['wholes'][:11])};",
        f"<fraction> = {either(ask['fractions'])};",
        "<inch> = inch | inches | of an inch;",
        "<inches> = <whole> [and <fraction>] [inch | inches] | <fraction> [<inch>];",
        "<feet> = (one | a) foot | (two | three | four) feet;",
        "<feet_inches> = <feet> <small> [and <fraction>] [inch | inches] | a foot and a half;",
        "public <said> = <command> | <inches> | <feet_inches>;",
    ]
    return "\n".join(lines)


DECODER = None


def begin(text):
    global DECODER
    DECODER = Decoder(samprate=RATE, loglevel="FATAL", lm=None)
    for word, phones in PRONOUNCED.items():
        if DECODER.lookup_word(word) is None:
            DECODER.add_word(word, phones, False)
    DECODER.add_jsgf_string("said", text)
    DECODER.activate_search("said")


def hear(file):
    samples, rate = read(file)
    samples = noise.resampled(samples, rate, RATE)
    sound = (samples.clip(-1, 1) * 32767).astype("<i2").tobytes()
    DECODER.start_utt()
    DECODER.process_raw(sound, full_utt=True)
    DECODER.end_utt()
    found = DECODER.hyp()
    return {"file": file, "heard": found.hypstr if found else ""}


def main(ask_path, out):
    ask = json.loads(pathlib.Path(ask_path).read_text())
    with open(out, "w") as lines, multiprocessing.Pool(None, begin, (grammar(ask),)) as pool:
        for done, heard in enumerate(pool.imap(hear, ask["files"], chunksize=4), 1):
            print(json.dumps(heard), file=lines)
            if done % 100 == 0 or done == len(ask["files"]):
                print(f"PocketSphinx heard: {done} of {len(ask['files'])}", file=sys.stderr)


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    main(*sys.argv[1:])
