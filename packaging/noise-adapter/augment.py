"""Noise, rooms and microphones, made anew for each batch.

Everything is generated: no recording of a site is in it. The validation's noise
comes from other generators (validate.py), the published tables' from a third set
(packaging/hearing/noise.py).
"""

import math

import torch
import torch.nn.functional as F

RATE = 16_000
LEAST_SNR_DB, MOST_SNR_DB = -5.0, 26.0
UNTOUCHED = 0.16
ROOM, TELEPHONE, BAND = 0.45, 0.10, 0.30
SEVERAL = 0.45


def loudness(x):
    return x.pow(2).mean(-1, keepdim=True).clamp_min(1e-12).sqrt()


def unit(x):
    return x / loudness(x)


class Augment:
    """Random sounds on one device; `talk` is training speech to babble with."""

    def __init__(self, talk, seed):
        self.talk, self.device = talk, talk.device
        self.random = torch.Generator(self.device).manual_seed(seed)
        self.kinds = [(self.coloured, 0.24), (self.wind, 0.07), (self.motor, 0.22),
                      (self.whine, 0.14), (self.bangs, 0.20), (self.babble, 0.13)]

    def uniform(self, *shape, low=0.0, high=1.0):
        drawn = torch.rand(*shape, device=self.device, generator=self.random)
        return drawn * (high - low) + low

    def between(self, *shape, low, high):
        """As uniform, but even on a logarithmic scale."""
        return torch.exp(self.uniform(*shape, low=math.log(low), high=math.log(high)))

    def normal(self, *shape):
        return torch.randn(*shape, device=self.device, generator=self.random)

    def often(self, count, share):
        return (self.uniform(count, 1) < share).float()

    def frequencies(self, size):
        return torch.fft.rfftfreq(size, 1 / RATE, device=self.device)[None]

    def slow(self, count, size, rate):
        """A wandering line within -1 and 1, `rate` turns a second."""
        points = max(3, int(size / RATE * rate) + 3)
        line = F.interpolate(self.normal(count, 1, points), size=size, mode="linear",
                             align_corners=True)[:, 0]
        return line.clamp(-2, 2) / 2

    def tone_control(self, count, size, spread_db, points=9):
        """Random gains along the spectrum."""
        at = (torch.log2(self.frequencies(size).clamp_min(60) / 60) / math.log2(8000 / 60))
        at = at.clamp(0, 1)[0] * (points - 1)
        low = at.floor().long().clamp(max=points - 2)
        gain = self.normal(count, points) * spread_db
        return 10 ** ((gain[:, low] * (1 - at + low) + gain[:, low + 1] * (at - low)) / 20)

    def filtered(self, x, gain):
        return torch.fft.irfft(torch.fft.rfft(x) * gain, n=x.shape[1])

    def convolved(self, x, kernel):
        size = x.shape[1] + 8000 * math.ceil(kernel.shape[1] / 8000)
        made = torch.fft.rfft(x, n=size) * torch.fft.rfft(kernel, n=size)
        return torch.fft.irfft(made, n=size)[:, :x.shape[1]]

    # Noises: (count, size) each.

    def coloured(self, count, size):
        """From a rumble to a hiss, louder and softer."""
        tilt = (self.frequencies(size).clamp_min(30) / 1000) ** (
            -self.uniform(count, 1, low=-0.8, high=2.4) / 2)
        x = self.filtered(self.normal(count, size), tilt * self.tone_control(count, size, 5))
        return x * (1 + self.uniform(count, 1, high=0.9) * self.slow(count, size, 1.5))

    def wind(self, count, size):
        tilt = (self.frequencies(size).clamp_min(20) / 300) ** (
            -self.uniform(count, 1, low=1.6, high=3.5) / 2)
        gusts = self.slow(count, size, 2.5).abs() + 0.1
        return self.filtered(self.normal(count, size), tilt) * gusts

    def harmonics(self, pitch, fall, share):
        """A wave with random harmonics of a pitch that changes, (count, size) in Hz."""
        count, order = len(pitch), torch.arange(1, 129, device=self.device)[None].float()
        power = order ** -fall * torch.exp(self.normal(count, 128))
        power = power * (self.uniform(count, 128) < share)
        power = power * (order * pitch.amax(1, keepdim=True) < 7900)
        power[:, 0] += 0.05
        wave = torch.zeros(count, 513, dtype=torch.complex64, device=self.device)
        wave[:, 1:129] = torch.polar(power, self.uniform(count, 128, high=2 * math.pi))
        wave = torch.fft.irfft(wave, n=1024)
        wave = torch.cat((wave, wave[:, :1]), 1)
        at = (torch.cumsum((pitch / RATE).double(), 1) % 1 * 1024).float()
        low = at.long().clamp(max=1023)
        part = at - low
        return unit(wave.gather(1, low) * (1 - part) + wave.gather(1, low + 1) * part)

    def on_and_off(self, count, size, share):
        gate = (self.slow(count, size, 1.2) > -0.25).float()
        gate = F.avg_pool1d(gate[:, None], 801, 1, 400)[:, 0]
        return 1 - self.often(count, share) * (1 - gate) * self.uniform(count, 1, low=0.5)

    def motor(self, count, size):
        """Engines and compressors: a steady pitch, beats, a hiss of their own."""
        pitch = self.between(count, 1, low=20, high=900)
        pitch = pitch * (1 + self.uniform(count, 1, high=0.1) * self.slow(count, size, 3)
                         + self.uniform(count, 1, high=0.01) * self.slow(count, size, 40))
        x = self.harmonics(pitch, self.uniform(count, 1, high=1.5),
                           self.uniform(count, 1, low=0.25))
        x = x + self.uniform(count, 1, high=1.3) * unit(self.coloured(count, size))
        time = torch.arange(size, device=self.device)[None] / RATE
        beat = torch.sin(2 * math.pi * (self.between(count, 1, low=0.3, high=28) * time
                                        + self.uniform(count, 1)))
        x = x * (1 + self.uniform(count, 1, high=0.95) * beat)
        return x * self.on_and_off(count, size, 0.3)

    def whine(self, count, size):
        """Saws and grinders: a high pitch that runs up, sags under load and bites."""
        load = (self.slow(count, size, 1.0) * 2).clamp(0, 1)
        pitch = self.between(count, 1, low=180, high=2600) * (
            1 - self.uniform(count, 1, high=0.35) * load
            + self.uniform(count, 1, high=0.02) * self.slow(count, size, 30))
        x = self.harmonics(pitch, self.uniform(count, 1, low=0.1, high=1.2),
                           self.uniform(count, 1, low=0.3))
        bite = self.filtered(self.normal(count, size), self.tone_control(count, size, 6)
                             * (self.frequencies(size).clamp_min(100) / 3000) ** 0.5)
        x = x + self.uniform(count, 1, low=0.2, high=2.0) * unit(bite) * (0.3 + load)
        return x * self.on_and_off(count, size, 0.5)

    def bangs(self, count, size):
        """Nailers and hammers: a crack, a ring, what falls after."""
        rate = self.between(count, 1, low=0.7, high=12)
        hits = (self.uniform(count, size) < rate / RATE).float()
        hits.scatter_(1, torch.randint(0, size, (count, 1), device=self.device,
                                       generator=self.random), 1.0)
        hits = hits * torch.exp(0.5 * self.normal(count, size))
        time = torch.arange(8000, device=self.device)[None] / RATE
        kernel = torch.exp(-time / self.between(count, 1, low=0.001, high=0.06)) \
            * self.normal(count, 8000)
        for _ in range(3):
            ring = torch.sin(2 * math.pi * self.between(count, 1, low=80, high=5000) * time)
            kernel = kernel + self.uniform(count, 1) * ring * torch.exp(
                -time / self.between(count, 1, low=0.004, high=0.15))
        # A nailer: the shot, then the air that leaves it.
        air = ((time > 0.03) * torch.exp(-(time - 0.03) / 0.05)) * self.normal(count, 8000)
        kernel = kernel + self.often(count, 0.4) * self.uniform(count, 1, high=0.5) * air
        x = unit(self.convolved(hits, kernel))
        return x + self.uniform(count, 1, high=0.35) * unit(self.coloured(count, size))

    def babble(self, count, size):
        """Other people, one to six of them."""
        x = torch.zeros(count, size, device=self.device)
        time = torch.arange(size, device=self.device)[None]
        for person in range(6):
            start = torch.randint(0, len(self.talk) - size, (count, 1), device=self.device,
                                  generator=self.random)
            voice = self.talk[start + time].float() / 32768
            there = 1.0 if person < 1 else self.often(count, 0.55)
            x = x + voice * there * self.uniform(count, 1, low=0.3)
        return x

    def noise(self, count, size):
        """Noise of loudness 1, one kind or several; where it is babble."""
        x = torch.zeros(count, size, device=self.device)
        babbled = torch.zeros(count, 1, device=self.device)
        share = torch.tensor([share for _, share in self.kinds], device=self.device)
        again = self.uniform(count) < SEVERAL
        third = again & (self.uniform(count) < 0.35)
        for turn, active in enumerate((torch.ones_like(again), again, third)):
            kind = torch.multinomial(share, count, True, generator=self.random)
            kind = torch.where(active, kind, -1).tolist()
            for number, (make, _) in enumerate(self.kinds):
                rows = [row for row, chosen in enumerate(kind) if chosen == number]
                if not rows:
                    continue
                made = unit(make(len(rows), size))
                if turn:
                    made = made * self.uniform(len(rows), 1, low=0.15)
                rows = torch.tensor(rows, device=self.device)
                x = x.index_add(0, rows, made)
                if make == self.babble and turn == 0:
                    babbled[rows] = 1.0
        mask = self.often(count, 0.5)
        return unit(self.filtered(x, mask * self.tone_control(count, size, 4) + 1 - mask)), babbled

    # What happens to speech on its way.

    def room(self, x):
        """Early reflections and a tail, from a cab to an empty hall."""
        count, length = len(x), 8000 * 2
        time = torch.arange(length, device=self.device)[None] / RATE
        reverberation = self.between(count, 1, low=0.06, high=1.1)
        tail = self.normal(count, length) * torch.exp(-6.9 * time / reverberation)
        tail = tail * (time > self.uniform(count, 1, low=0.002, high=0.03))
        early = torch.zeros(count, length, device=self.device)
        for _ in range(6):
            at = (self.between(count, 1, low=0.0015, high=0.06) * RATE).long()
            size = self.uniform(count, 1, low=-0.8, high=0.8) * torch.exp(-at / RATE / 0.03)
            early.scatter_add_(1, at, size)
        early = early * self.uniform(count, 1)
        tail = unit(tail) / math.sqrt(length) * 10 ** (
            -self.uniform(count, 1, low=-3, high=20) / 20)
        kernel = early + self.filtered(tail, self.tone_control(count, length, 3))
        kernel[:, 0] = 1
        y = self.convolved(x, kernel)
        return y * loudness(x) / loudness(y)

    def microphone(self, x):
        """Narrow bands, the telephone's among them."""
        count, size = x.shape
        at = self.frequencies(size)
        phone = self.often(count, TELEPHONE)
        low = phone * 300 + (1 - phone) * self.uniform(count, 1, high=350)
        high = phone * 3400 + (1 - phone) * self.between(count, 1, low=2800, high=8000)
        gain = torch.sigmoid((at - low) / 30) * torch.sigmoid((high - at) / 120)
        mask = torch.maximum(phone, self.often(count, BAND))
        gain = mask * gain * self.tone_control(count, size, 3) + 1 - mask
        y = self.filtered(x, gain)
        return y * loudness(x) / loudness(y)

    def __call__(self, x, spoken, silent):
        """Speech as a microphone on a site hears it.

        `x` is clean speech, `spoken` its length in samples (count, 1), `silent`
        where there shall be noise only (count, 1).
        """
        count, size = x.shape
        level = (x.pow(2).sum(1, keepdim=True) / spoken).clamp_min(1e-8).sqrt()
        mask = self.often(count, ROOM)
        y = self.microphone(mask * self.room(x) + (1 - mask) * x)
        made, babbled = self.noise(count, size)
        snr = self.uniform(count, 1, low=LEAST_SNR_DB, high=MOST_SNR_DB)
        snr = torch.where(babbled > 0, snr.clamp_min(4.0), snr)
        noisy = torch.maximum((self.uniform(count, 1) > UNTOUCHED).float(), silent)
        y = y * (1 - silent) + noisy * made * level * 10 ** (-snr / 20)
        y = y / level * 0.08
        gain = 10 ** (self.uniform(count, 1, low=-20, high=14) / 20)
        y = y * torch.where(self.uniform(count, 1) < 0.4, torch.ones_like(gain), gain)
        # Some microphones clip; mostly the level is right.
        room = 0.9 / (loudness(y) * self.between(count, 1, low=2.0, high=8.0))
        y = (y * room.clamp_max(1)).clamp(-1, 1)
        return y + self.uniform(count, 1, high=3e-4) * self.normal(count, size)
