"""Makes the clips that the adapter is trained and chosen on.

usage: synthesize.py speak FOLDER ENGINE COUNT SEED   espeak, flite or festival, training voices
       synthesize.py human FOLDER                     the prompts that are trained on
       synthesize.py foreign FOLDER COUNT SEED        other languages, training voices
       synthesize.py validation FOLDER                espeak-ng's validation voice
       synthesize.py negatives FOLDER                 what must not be taken for a phrase
       synthesize.py facts FOLDER                     the phrases and the split, beside the clips
       synthesize.py jobs FOLDER COUNT SEED           what Kokoro is to say, as phonemes
       synthesize.py wide FOLDER SEED                 instead: more by Kokoro's validation voices
       synthesize.py kokoro FOLDER MODEL SECONDS [NAME]  says it, one process a core
       synthesize.py pack FOLDER NAME...              clips as Opus, to carry elsewhere
       synthesize.py unpack FOLDER NAME...            and back

A set of clips is NAME.raw (16 kHz, 16 bit, a tenth of a second between clips)
and NAME.json: start, length, what is said, kind and voice of each. The kinds:
1 a phrase, 0 another sentence, 2 a person, 3 another language. Needs espeak-ng,
flite, festival with its voices, opus-tools and fortunes from Debian; numpy and
scipy; for Kokoro onnx and PyTorch where there is an accelerator (kokoro.py), else
onnxruntime. Where the model and its voices come from: README.md.
"""

import json
import os
import pathlib
import random
import re
import subprocess
import sys
import tempfile
import time
import wave
from concurrent.futures import ThreadPoolExecutor
from multiprocessing import get_context

import numpy as np
from scipy.signal import resample_poly

import texts
import voices

RATE = 16_000
GAP = np.zeros(RATE // 10, np.int16)
VARIANTS = next((path for path in map(pathlib.Path, (
    "/usr/lib/x86_64-linux-gnu/espeak-ng-data/voices/!v",
    "/usr/share/espeak-ng-data/voices/!v")) if path.is_dir()), pathlib.Path("."))
CHUNK_S = 600


def trimmed(samples, rate, most_s=4.5):
    """At 16 kHz, silence cut off, half of full scale; None for a bad length."""
    samples = np.asarray(samples, np.float32)
    if rate != RATE:
        common = np.gcd(rate, RATE)
        samples = resample_poly(samples, RATE // common, rate // common)
    loud = np.flatnonzero(np.abs(samples) > max(np.abs(samples).max(initial=0) * 0.02, 1e-4))
    if len(loud) < 1600:
        return None
    samples = samples[max(0, loud[0] - 400):loud[-1] + 800]
    if not 3000 < len(samples) < RATE * most_s:
        return None
    return (samples / np.abs(samples).max() * 0.5 * 32767).astype(np.int16)


def read(path):
    with wave.open(str(path)) as file:
        samples = np.frombuffer(file.readframes(file.getnframes()), "<i2")
        return samples.reshape(-1, file.getnchannels()).mean(1) / 32768, file.getframerate()


class Clips:
    def __init__(self):
        self.sound, self.list, self.at = [], [], 0

    def add(self, samples, said, kind, voice):
        if samples is not None:
            self.list.append([self.at, len(samples), said, int(kind), voice])
            self.sound += [samples, GAP]
            self.at += len(samples) + len(GAP)

    def save(self, folder, name):
        np.concatenate(self.sound).tofile(folder / f"{name}.raw")
        (folder / f"{name}.json").write_text(json.dumps(self.list))
        print(name, len(self.list), "clips", round(self.at / RATE / 60, 1), "minutes", flush=True)


def run(command):
    subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=False)


def spoken(path, most_s=4.5):
    try:
        return trimmed(*read(path), most_s)
    except (OSError, EOFError, wave.Error):
        return None


def espeak(pick, source, scratch, count):
    variants = voices.espeak_training_variants(VARIANTS)

    def one(job):
        number, said, voice, speed, pitch = job
        path = f"{scratch}/{number}.wav"
        run(["espeak-ng", "-v", voice, "-s", speed, "-p", pitch, "-w", path, said])
        return spoken(path)

    for start in range(0, count, 200):
        drawn = [source.draw() for _ in range(min(200, count - start))]
        jobs = [(number, said,
                 f"{pick.choice(voices.ESPEAK_ACCENTS)}+{pick.choice(variants)}",
                 str(pick.randint(115, 205)), str(pick.randint(15, 85)))
                for number, (said, _) in enumerate(drawn)]
        with ThreadPoolExecutor(2) as pool:
            for sound, (said, phrase), job in zip(pool.map(one, jobs), drawn, jobs):
                yield sound, said, phrase, "espeak " + job[2]


def flite(pick, source, scratch, count):
    for _ in range(count):
        said, phrase = source.draw()
        voice = pick.choice(voices.TRAIN["flite"])
        run(["flite", "-voice", voice, "--setf", f"duration_stretch={pick.uniform(.75, 1.3):.2f}",
             "--setf", f"int_f0_target_mean={pick.uniform(75, 135):.0f}",
             "-t", said, "-o", f"{scratch}/a.wav"])
        yield spoken(f"{scratch}/a.wav"), said, phrase, "flite " + voice


def festival(pick, source, scratch, count):
    for start in range(0, count, 150):
        jobs, lines = [source.draw() for _ in range(min(150, count - start))], []
        voice = pick.choice(voices.TRAIN["festival"])
        for number, (said, _) in enumerate(jobs):
            lines.append(f"(voice_{voice}) "
                         f"(Parameter.set 'Duration_Stretch {pick.uniform(.75, 1.3):.2f}) "
                         f'(utt.save.wave (utt.synth (Utterance Text "{said}")) '
                         f'"{scratch}/{number}.wav")')
        script = pathlib.Path(scratch) / "say.scm"
        script.write_text("\n".join(lines))
        run(["festival", "-b", script])
        for number, (said, phrase) in enumerate(jobs):
            path = pathlib.Path(scratch) / f"{number}.wav"
            yield spoken(path), said, phrase, "festival " + voice
            path.unlink(missing_ok=True)


def speak(folder, engine, count, seed):
    pick, source, clips = random.Random(f"{engine}{seed}"), texts.Texts(f"{engine}{seed}"), Clips()
    makers = {"espeak": espeak, "flite": flite, "festival": festival}
    with tempfile.TemporaryDirectory() as scratch:
        for sound, said, phrase, voice in makers[engine](pick, source, scratch, int(count)):
            clips.add(sound, said, phrase, voice)
    clips.save(folder, f"train-{engine}-{seed}")


def human(folder):
    """Labels are the base model's own words; train.py writes them."""
    clips = Clips()
    for path in voices.prompts("train"):
        clips.add(spoken(path, voices.PROMPT_MOST_S), "", 2, "human")
    clips.save(folder, "train-human")


def foreign(folder, count, seed):
    """Speech in other languages: nothing in it may pass for a phrase.

    A voice says lines of its own language where Debian's fortunes has some, and
    those of another where not: the sounds are what counts.
    """
    pick, clips = random.Random(f"foreign{seed}"), Clips()
    lines = {}
    for language, paths in voices.FOREIGN_TEXTS.items():
        found = [part.strip() for name in paths for path in sorted(texts.FORTUNES.glob(name))
                 if path.is_file() and path.suffix not in (".dat", ".u8")
                 for part in re.split(r"[.!?,;:\n]+", path.read_text(errors="ignore"))]
        lines[language] = [part for part in found if re.fullmatch(r"[^\W\d_]+( [^\W\d_]+){0,6}", part)
                           and 5 < len(part) < 50]
        assert len(lines[language]) > 100, f"fortunes in {language} are missing"
    variants = voices.espeak_training_variants(VARIANTS)

    with tempfile.TemporaryDirectory() as scratch:
        def one(job):
            number, said, voice, speed, pitch = job
            run(["espeak-ng", "-v", voice, "-s", speed, "-p", pitch,
                 "-w", f"{scratch}/{number}.wav", said])
            return spoken(f"{scratch}/{number}.wav")

        jobs = []
        for number in range(int(count)):
            voice, source = pick.choice(voices.FOREIGN_VOICES)
            jobs.append((number, pick.choice(lines[source]), f"{voice}+{pick.choice(variants)}",
                         str(pick.randint(115, 205)), str(pick.randint(15, 85))))
        with ThreadPoolExecutor(2) as pool:
            for sound, job in zip(pool.map(one, jobs), jobs):
                clips.add(sound, "", 3, "espeak " + job[2])
    clips.save(folder, f"train-foreign-{seed}")


def validation_texts(seed="validation", count=48):
    """What a validation voice says: each command, and lengths of every kind."""
    source = texts.Texts(seed)
    said = [*source.commanding, "logbook"]
    measures = []
    for number in range(count):
        whole = source.random.randint(0, 59) if number % 2 else source.random.randint(0, 14)
        part = (0, 8, 4, 12, 2, 6, 10, 14, 1, 3, 5, 7, 9, 11, 13, 15)[number % 16]
        if whole or part:
            measures.append(texts.length(source.random, whole * 16 + part))
    measures = [text for text in measures if text not in texts.HOMOPHONES]
    return said, measures


def validation(folder):
    clips = Clips()
    voice = voices.VALIDATION["espeak"][0]
    with tempfile.TemporaryDirectory() as scratch:
        for said in sum(validation_texts(), []):
            run(["espeak-ng", "-v", voice, "-s", "150", "-w", f"{scratch}/a.wav", said])
            clips.add(spoken(f"{scratch}/a.wav"), said, 1, "espeak " + voice)
    clips.save(folder, "validation-espeak")


def negatives(folder):
    clips = Clips()
    for path in voices.prompts("fit"):
        clips.add(spoken(path, voices.PROMPT_MOST_S), "", 2, "human")
    for foreign in voices.FOREIGN:
        for path in sorted(foreign.rglob("*.wav")):
            if path.parent.name not in ("digits", "silence"):
                clips.add(spoken(path, voices.PROMPT_MOST_S), "", 2, foreign.name)
    clips.save(folder, "negatives")


def facts(folder):
    """What train.py and validate.py need of the sources."""
    source = texts.Texts("facts")
    split = {"train": voices.TRAIN, "validation": voices.VALIDATION, "fit": voices.FIT,
             "report": voices.REPORT}
    for name, value in (("phrases", {"commands": source.commands}), ("split", split),
                        ("commands", {"confirming": source.confirming,
                                      "commanding": source.commanding})):
        (folder / f"{name}.json").write_text(json.dumps(value))


def jobs(folder, count, seed):
    """Phonemes of all that Kokoro says, so that speaking needs no espeak-ng."""
    pick, source = random.Random(f"kokoro{seed}"), texts.Texts(f"kokoro{seed}")
    said = []
    chatter = sorted(source.held_out)
    for voice in voices.VALIDATION["kokoro"]:
        for kind, all_said in ((1, sum(validation_texts(), [])), (0, chatter)):
            said += [("validation", text, kind, [(voice, 1.0)], 1.0) for text in all_said]
    for _ in range(int(count)):
        text, phrase = source.draw()
        first, other = pick.sample(voices.TRAIN["kokoro"], 2)
        part = pick.uniform(0.3, 0.7)
        mix = [(first, 1.0)] if pick.random() < 0.55 else [(first, part), (other, 1 - part)]
        said.append(("train", text, int(phrase), mix, pick.uniform(0.8, 1.3)))
    write_jobs(folder, said, pick)


def wide(folder, seed):
    """Commands at three speeds, other lengths and the chatter again: a second validation."""
    pick, said = random.Random(f"wide{seed}"), []
    chatter = sorted(texts.Texts("wide").held_out)
    for voice in voices.VALIDATION["kokoro"]:
        commands, measures = validation_texts(f"wide{seed}{voice}", 130)
        for text, speeds in ([(text, (0.85, 1.0, 1.2)) for text in commands]
                             + [(text, (pick.uniform(0.85, 1.25),)) for text in measures]):
            said += [("validation", text, 1, [(voice, 1.0)], speed) for speed in speeds]
        said += [("validation", text, 0, [(voice, 1.0)], pick.uniform(0.85, 1.25))
                 for text in chatter]
    write_jobs(folder, said, pick)


def write_jobs(folder, said, pick):
    def phonemes(key):
        text, accent, closer = key
        text = re.sub(r"^(yes|no|hey|hello) (?=that|log|it)", r"\1, ", text)
        made = subprocess.run(["espeak-ng", "-q", "--ipa", "-v", accent, text],
                              capture_output=True, text=True, check=True).stdout
        made = " ".join(made.split())
        for old, new in (("ʲ", "j"), ("r", "ɹ"), ("x", "k"), ("ɬ", "l")):
            made = made.replace(old, new)
        return made + closer

    keys = []
    for part, text, _, mix, _ in said:
        accent = "en-us" if mix[0][0][0] == "a" else "en-gb"
        keys.append((text, accent, pick.choice([".", ".", "!", "?", ""])
                     if part == "train" else "."))
    with ThreadPoolExecutor(2) as pool:
        found = dict(zip(dict.fromkeys(keys), pool.map(phonemes, dict.fromkeys(keys))))
    (folder / "kokoro-jobs.json").write_text(json.dumps(
        [[*job, found[key]] for job, key in zip(said, keys)], ensure_ascii=False))
    print(len(said), "jobs,", len(found), "different")


_kokoro = {}


def accelerators():
    """How many there are; none without PyTorch."""
    try:
        import torch
    except ImportError:
        return 0
    return torch.cuda.device_count()


def kokoro_start(folder, model, until, number, cards):
    """A process of its own each: with an accelerator, or one core."""
    with number.get_lock():
        mine, number.value = number.value, number.value + 1
    if cards:
        import torch

        import kokoro as spoken_there
        torch.set_num_threads(1)
        voice = spoken_there.Voice(model, f"cuda:{mine % cards}")
        _kokoro["say"] = voice.say
    else:
        import onnxruntime
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads, options.log_severity_level = 1, 3
        session = onnxruntime.InferenceSession(model, options)
        names = [value.name for value in session.get_inputs()]
        _kokoro["say"] = lambda ids, style, speed: session.run(None, dict(zip(names, (
            np.array([ids], np.int64), style[None], np.array([speed], np.float32)))))[0].reshape(-1)
    symbols = json.loads((folder / "kokoro-vocab.json").read_text())
    _kokoro["symbols"] = symbols.get("vocab", symbols)
    _kokoro["styles"] = dict(np.load(folder / "kokoro-styles.npz"))
    _kokoro["until"] = until


def kokoro_say(job):
    if time.time() > _kokoro["until"]:
        return None
    _, _, _, mix, speed, phonemes = job
    ids = [_kokoro["symbols"][symbol] for symbol in phonemes if symbol in _kokoro["symbols"]]
    if not 0 < len(ids) < len(_kokoro["styles"][mix[0][0]]):
        return None
    style = sum(_kokoro["styles"][name][len(ids)].astype(np.float32) * np.float32(part)
                for name, part in mix)
    return trimmed(_kokoro["say"]([0, *ids, 0], style.reshape(-1), speed), 24_000)


def kokoro(folder, model, seconds, name="kokoro"):
    wanted = json.loads((folder / "kokoro-jobs.json").read_text())
    assert all(voice in (voices.TRAIN if job[0] == "train" else voices.VALIDATION)["kokoro"]
               for job in wanted for voice, _ in job[3]), "a voice of another set"
    clips = {job[0]: Clips() for job in wanted}
    until, context = time.time() + float(seconds), get_context("spawn")
    given = (folder, model, until, context.Value("i", 0), accelerators())
    with context.Pool(os.cpu_count(), kokoro_start, given) as pool:
        for job, sound in zip(wanted, pool.imap(kokoro_say, wanted, chunksize=4)):
            voice = "kokoro " + "+".join(speaker for speaker, _ in job[3])
            clips[job[0]].add(sound, job[1], job[2], voice)
    for part, made in clips.items():
        made.save(folder, f"{part}-{name}")


def pack(folder, *names):
    for name in names:
        sound = np.fromfile(folder / f"{name}.raw", np.int16)
        parts = range(0, len(sound), RATE * CHUNK_S)

        def encode(number_and_start):
            number, start = number_and_start
            subprocess.run(["opusenc", "--quiet", "--raw", "--raw-rate", str(RATE), "--raw-chan",
                            "1", "--bitrate", "16", "--speech", "-",
                            folder / f"{name}.{number:03d}.opus"],
                           input=sound[start:start + RATE * CHUNK_S].tobytes(), check=True)

        with ThreadPoolExecutor(os.cpu_count()) as pool:
            list(pool.map(encode, enumerate(parts)))


def unpack(folder, *names):
    for name in names:
        def decode(path):
            made = subprocess.run(["opusdec", "--quiet", "--rate", str(RATE), "--no-dither", path,
                                   "--force-wav", "-"], capture_output=True, check=True).stdout
            return np.frombuffer(made[44:len(made) // 2 * 2], "<i2")

        with ThreadPoolExecutor(os.cpu_count()) as pool:
            parts = list(pool.map(decode, sorted(folder.glob(f"{name}.*.opus"))))
        np.concatenate(parts).tofile(folder / f"{name}.raw")


if __name__ == "__main__":
    ways = {way.__name__: way for way in
            (speak, human, foreign, validation, negatives, facts, jobs, wide, kokoro, pack,
             unpack)}
    if len(sys.argv) < 3 or sys.argv[1] not in ways:
        sys.exit(__doc__)
    target = pathlib.Path(sys.argv[2])
    target.mkdir(parents=True, exist_ok=True)
    ways[sys.argv[1]](target, *sys.argv[3:])
