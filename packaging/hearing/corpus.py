"""Builds the sound files that the hearing table is measured on.

usage: corpus.py PLAN FOLDER CACHE    (chalkhand hearing --bench does it)
       corpus.py --voices             who speaks in which half, as JSON

PLAN is a JSON file: half (report or fit), quick (a tenth), say (texts, and as
what each is heard: kind, truth, grammar). For tests: engines (only these),
negatives (false: none), parts (speech and noise apart beside each file).

FOLDER/list.jsonl gets a line for each thing to hear, FOLDER/half-… the files.
CACHE keeps what the voices said; the same plan makes the same bytes.

Speech is synthetic, but for the numbers and prompts of Debian's
asterisk-core-sounds: one speaker a language, 8 kHz. Noise and rooms are
generated. Nothing here is a person on a roof, and nothing here is committed.
"""

import hashlib
import json
import multiprocessing
import pathlib
import re
import sys

import noise as sounds
from noise import NOISES, ROOMS, seed
from voices import KOKORO, PIPER, QUICK, SECOND, VOICES, Voices, read, write

ASTERISK = pathlib.Path("/usr/share/asterisk/sounds")
ENGLISH = ASTERISK / "en_US_f_Allison"
OTHERS = ["es_MX_f_Allison", "fr_CA_f_June", "it_IT_m_Carlo", "ru_RU_f_IvrvoiceRU"]
FORTUNES = pathlib.Path("/usr/share/games/fortunes")
HERE = pathlib.Path(__file__).parent

# Name, SNR in dB, effect.
MAIN = [("clean", None), ("20 dB", 20), ("10 dB", 10), ("5 dB", 5), ("0 dB", 0)]
EXTRA = [("small attic", 20), ("large attic", 20), ("telephone", 20)]
SNR = dict(MAIN + EXTRA)
# Negatives are heard under each in turn.
GRAMMARS = ["everything", "confirm", "step", "yes-no", "lengths"]
# Voices that say each text of a kind, taken in turn; all of them where none is named.
SAID_BY = {"measure": 5, "choice": 3, "count": 5}
# Said once, in three conditions.
ONCE = {"choice", "count"}
FEWER = [("clean", None), ("10 dB", 10), ("0 dB", 0)]


class Plan:
    """What is to be mixed and heard, in order."""

    def __init__(self, given, folder):
        self.half, self.quick = given["half"], given.get("quick", False)
        engines = given.get("engines")
        self.voices = [v for v in VOICES[self.half] if engines is None or v[0] in engines]
        builder = hashlib.sha256((HERE / "noise.py").read_bytes()).hexdigest()[:8]
        self.sounds = folder / f"{self.half}-{builder}"
        self.mixes, self.heard = {}, []

    def add(self, source, condition, take, shown, hearings):
        """One file, and as what it is heard. `take` tells renderings of one thing apart."""
        pair = seed(self.half, *shown, condition)
        if self.quick and pair % 10:
            return
        number = seed(self.half, source, condition, take)
        which = NOISES[number % len(NOISES)] if SNR[condition] is not None else "none"
        if condition in ROOMS or condition == "telephone":
            which = "pink"
        if source[0] == "noise":
            which = source[1]
        path = self.sounds / f"{number:016x}.wav"
        self.mixes[path] = (source, condition, which, number)
        text, voice = shown[-1], shown[-2]
        for kind, truth, grammar in hearings:
            self.heard.append({
                "file": str(path), "kind": kind, "condition": condition, "noise": which,
                "text": text, "truth": truth, "grammar": grammar, "voice": voice,
                "try": take + 1, "pair": f"{pair:016x}",
            })

    def said(self, given):
        for place, said in enumerate(given["say"]):
            text = said["text"]
            kinds = [heard["kind"] for heard in said["as"]]
            first = kinds[0].split(",")[0]
            count = min(SAID_BY.get(first, len(self.voices)), len(self.voices))
            # In turn, so that every voice says about as many.
            by = [self.voices[(place + i * len(self.voices) // count) % len(self.voices)]
                  for i in range(count)]
            hearings = [(heard["kind"], heard["truth"], heard["grammar"]) for heard in said["as"]]
            for voice in by:
                for condition, _ in FEWER if first in ONCE else MAIN:
                    for take in range(1 if first in ONCE else 2):
                        speed = SECOND if take else 1.0
                        source = ("say", voice, text, speed)
                        self.add(source, condition, take, ("said", voice[1], text), hearings)
                for condition, _ in EXTRA:
                    if first not in ONCE and seed(voice[1], text, condition) % 3 == 0:
                        source = ("say", voice, text, 1.0)
                        self.add(source, condition, 0, ("said", voice[1], text), hearings)

    def numbers(self):
        for number in [*range(1, 21), 30, 40, 50, 60]:
            source = ("file", str(ENGLISH / "digits" / f"{number}.wav"))
            for condition, _ in MAIN:
                for take in range(2):
                    if self.half == "report":
                        self.add(source, condition, take, ("number", "human", str(number)),
                                 [("human number", f"{number}/1", "lengths")])

    def negative(self, source, conditions, voice, text):
        for condition in conditions:
            grammar = GRAMMARS[len(self.heard) % len(GRAMMARS)]
            self.add(source, condition, 0, ("negative", voice, text),
                     [("negative", "", grammar)])

    def negatives(self):
        fit = self.half == "fit"
        most = ["clean", "10 dB", "0 dB"] if fit else list(SNR)
        some = ["clean", "5 dB"]
        for place, text in enumerate(talk()):
            for at, voice in enumerate(self.voices):
                # The slow voices say half of it each.
                if voice[0] not in (KOKORO, PIPER) or (place + at) % 2 == 0:
                    self.negative(("say", voice, text, 1.0), most, voice[1], text)
        for path in filter(has_sound, prompts(ENGLISH)[1 if fit else 2 :: 3]):
            self.negative(("file", str(path)), most, "human", path.stem)
        if not fit:
            for language in OTHERS:
                for path in filter(has_sound, prompts(ASTERISK / language)):
                    self.negative(("file", str(path)), some, language, path.stem)
        quick = [voice for voice in self.voices if voice[0] in QUICK]
        for place, text in enumerate(sentences()[: 600 if fit else 1600]):
            # The halves share no sentence.
            if place % 2 == fit:
                voice = quick[place // 2 % len(quick)]
                conditions = ["clean", "10 dB"] if fit else ["clean", "10 dB", "0 dB"]
                self.negative(("say", voice, text, 1.0), conditions, voice[1], text)
        for which in NOISES:
            for number in range(20 if fit else 100):
                self.negative(("noise", which, number), ["clean"], "none", f"{which} {number}")


def talk():
    return (HERE / "talk.txt").read_text().splitlines()


def prompts(folder):
    """Recordings of words that are nothing to us, shorter than 5 s, in order."""
    found = sorted(folder.rglob("*.wav"))
    found = [p for p in found if not {"digits", "silence"} & set(p.parts)]
    return [p for p in found if p.stat().st_size < 16_000 * 5]


def has_sound(path):
    """Some recordings are empty: a quarter of a second at least."""
    return 16_000 // 4 < path.stat().st_size


def sentences():
    """Sentences of 4 to 14 words out of sayings, each once, in order."""
    found = []
    for path in sorted(p for p in FORTUNES.glob("*") if "." not in p.name and p.is_file()):
        for saying in path.read_text("utf-8", "replace").split("\n%\n"):
            for sentence in re.split(r"(?<=[.!?])\s+", " ".join(saying.split())):
                if re.fullmatch(r"[A-Z][A-Za-z' ,]+[.!?]", sentence):
                    if 4 <= len(sentence.split()) <= 14:
                        found.append(sentence)
    return list(dict.fromkeys(found))


TALK = []
VOICE_CACHE = None
PARTS = False


def some_talk(number):
    return TALK[number % len(TALK)]


def mix(job):
    path, (source, condition, which, number) = job
    if path.exists():
        return
    snr = SNR[condition]
    if source[0] == "noise":
        rate = 16_000
        level = 10 ** (-(10 + number % 31) / 20) * 0.5
        speech = sounds.noise(which, rate * 6, rate, number, some_talk) * level
        hiss = speech * 0
    else:
        clean = source[1] if source[0] == "file" else VOICE_CACHE.path(*source[1:])
        samples, rate = read(clean)
        if condition in ROOMS:
            samples = sounds.in_room(samples, rate, ROOMS[condition], number)
        elif condition == "telephone":
            samples, rate = sounds.by_telephone(samples, rate)
        speech, hiss = sounds.mixed(samples, rate, snr, which, number, some_talk)
    if PARTS:
        write(path.with_suffix(".speech"), speech, rate)
        write(path.with_suffix(".noise"), hiss, rate)
    part = path.with_suffix(".part")
    write(part, speech + hiss, rate)
    part.rename(path)


def main(plan_path, folder, cache):
    global TALK, VOICE_CACHE, PARTS
    given = json.loads(pathlib.Path(plan_path).read_text())
    folder, cache = pathlib.Path(folder), pathlib.Path(cache)
    plan = Plan(given, folder)
    plan.sounds.mkdir(parents=True, exist_ok=True)
    plan.said(given)
    if given.get("negatives", True):
        plan.numbers()
        plan.negatives()
    VOICE_CACHE, PARTS = Voices(cache), given.get("parts", False)
    quick = [voice for voice in plan.voices if voice[0] in QUICK]
    babble = [(voice, text, 1.0) for voice in quick for text in talk()]
    wanted = [mixed[0][1:] for mixed in plan.mixes.values() if mixed[0][0] == "say"]
    VOICE_CACHE.say_all(babble + wanted)
    TALK = [read(VOICE_CACHE.path(*job)) for job in babble]
    jobs = [job for job in plan.mixes.items() if not job[0].exists()]
    with multiprocessing.get_context("fork").Pool() as pool:
        for done, _ in enumerate(pool.imap_unordered(mix, jobs, chunksize=16), 1):
            if done % 1000 == 0 or done == len(jobs):
                print(f"mixed: {done} of {len(jobs)}", file=sys.stderr)
    with open(folder / "list.jsonl", "w") as lines:
        for heard in plan.heard:
            print(json.dumps(heard), file=lines)


if __name__ == "__main__":
    if sys.argv[1:] == ["--voices"]:
        print(json.dumps(VOICES))
    elif len(sys.argv) == 4:
        main(*sys.argv[1:])
    else:
        sys.exit(__doc__)
