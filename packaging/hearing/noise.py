"""Noise, rooms and the telephone, all generated, and mixing them with speech at a stated SNR.

The SNR is the mean power of the speech, its pauses left out, over the mean power
of the noise in the whole clip.
"""

import hashlib

import numpy as np

NOISES = ["pink", "white", "saw", "compressor", "bangs", "wind", "babble"]
# Reverberation time to -60 dB in seconds: synthetic, exponentially fading noise.
ROOMS = {"small attic": 0.3, "large attic": 0.6}
TELEPHONE_HZ = 8_000
TELEPHONE_BAND_HZ = (300, 3_400)


def seed(*parts):
    digest = hashlib.sha256("\0".join(map(str, parts)).encode()).digest()
    return int.from_bytes(digest[:8], "little")


def coloured(rng, count, power):
    spectrum = np.fft.rfft(rng.standard_normal(count))
    tilt = np.maximum(np.arange(len(spectrum)), 1.0) ** (-power / 2)
    sound = np.fft.irfft(spectrum * tilt, count)
    return sound / sound.std()


def noise(kind, count, rate, number, talk):
    """Noise of mean power 1. `talk` gives the samples of a sentence for a random number."""
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
        sound = sound / sound.std() + coloured(rng, count, 0.3)
    elif kind == "compressor":
        # A piston: thumps some 25 times a second over a low rumble.
        thump = np.maximum(np.sin(2 * np.pi * rng.uniform(20, 30) * time), 0) ** 8
        sound = thump * rng.standard_normal(count)
        sound = sound + coloured(rng, count, 2.0) + coloured(rng, count, 0.8) * 0.5
    elif kind == "bangs":
        # A nailer: a sharp bang that fades within 30 ms, one or two a second.
        sound = coloured(rng, count, 1.0) * 0.05
        at = rng.uniform(0, 0.6)
        while at < count / rate:
            since = time - at
            fading = np.where(0 <= since, np.exp(-np.maximum(since, 0) / 0.03), 0)
            sound = sound + fading * rng.standard_normal(count) * 3
            at += rng.uniform(0.5, 1.2)
    elif kind == "wind":
        # Rumble that comes in gusts.
        gusts = 1 + 0.8 * np.sin(2 * np.pi * rng.uniform(0.2, 0.7) * time + rng.uniform(0, 6))
        sound = coloured(rng, count, 2.2) * gusts + coloured(rng, count, 1.0) * 0.1 * gusts
    elif kind == "babble":
        sound = np.zeros(count)
        for _ in range(5):
            voice, own = talk(int(rng.integers(1 << 30)))
            voice = resampled(voice, own, rate)
            voice = np.resize(np.roll(voice, rng.integers(len(voice))), count)
            sound += voice / (voice.std() + 1e-6)
    else:
        raise ValueError(kind)
    return (sound / np.sqrt((sound**2).mean() + 1e-12)).astype(np.float32)


def resampled(samples, rate, to):
    """By the spectrum, whole: fine for clips of a few seconds."""
    if rate == to:
        return samples
    count = max(1, round(len(samples) * to / rate))
    spectrum = np.fft.rfft(samples)
    kept = np.zeros(count // 2 + 1, complex)
    both = min(len(kept), len(spectrum))
    kept[:both] = spectrum[:both]
    return (np.fft.irfft(kept, count) * count / len(samples)).astype(np.float32)


def in_room(samples, rate, seconds, number):
    """The direct sound, and as much of it again from a room that fades by 60 dB in `seconds`."""
    rng = np.random.default_rng(number)
    count = int(seconds * rate)
    fading = rng.standard_normal(count) * 10 ** (-3 * np.arange(count) / count)
    # Nothing comes back before 2 ms: a wall is at least 35 cm away.
    fading[: rate // 500] = 0
    fading = fading / np.sqrt((fading**2).sum())
    length = 1 << (len(samples) + count).bit_length()
    back = np.fft.irfft(np.fft.rfft(samples, length) * np.fft.rfft(fading, length), length)
    whole = back[: len(samples) + count]
    whole[: len(samples)] += samples
    return whole.astype(np.float32)


def by_telephone(samples, rate):
    """A telephone's band and rate."""
    spectrum = np.fft.rfft(samples)
    hz = np.fft.rfftfreq(len(samples), 1 / rate)
    low, high = TELEPHONE_BAND_HZ
    spectrum[(hz < low) | (high < hz)] = 0
    return resampled(np.fft.irfft(spectrum, len(samples)), rate, TELEPHONE_HZ), TELEPHONE_HZ


def speech_level(samples, rate):
    """The level of the speech itself, its pauses left out."""
    size = rate // 50
    frames = samples[: len(samples) // size * size].reshape(-1, size)
    power = (frames**2).mean(axis=1)
    return np.sqrt(power[power > power.max() * 1e-3].mean())


def mixed(samples, rate, snr, kind, number, talk):
    """The speech with quiet around it and the noise, at one scale, apart."""
    lead, tail = int(0.5 * rate), int(0.7 * rate)
    samples = samples / max(np.abs(samples).max(), 1e-6) * 0.4
    speech = np.concatenate([np.zeros(lead), samples, np.zeros(tail)]).astype(np.float32)
    if snr is None:
        # Even a quiet room is not digital silence.
        hiss = np.random.default_rng(number).standard_normal(len(speech)) * 3e-4
        return speech, hiss.astype(np.float32)
    level = speech_level(samples, rate) * 10 ** (-snr / 20)
    sound = noise(kind, len(speech), rate, number, talk) * level
    scale = max(1.0, np.abs(speech + sound).max() / 0.95)
    return speech / scale, sound / scale
