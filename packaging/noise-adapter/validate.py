"""Compares adapters on the validation voices, in noise that none was trained in.

usage: validate.py FOLDER BASE TOKENIZER OUT.json [ADAPTER.safetensors ...]

Each command and a number of lengths, at six noise levels, is searched along the
tree of all commands and all lengths to 60 inches by sixteenths, as in use. What
is no phrase (talk, prompts in five languages, crowds, noise alone) is searched
along the commands, and what would confirm something is counted. The first lines
are the base model; limits are those of src/speech/decide.rs, but for `a`.
"""

import json
import math
import pathlib
import sys
import zlib

import numpy as np
import torch

import model as recogniser
import texts
from synthesize import RATE
from train import greedy, log_likelihood, padded_tokens

LEVELS_DB = (None, 20, 10, 5, 0, -5)
NEGATIVE_LEVELS_DB = (None, 10, 0)
NUMBER, CONFIRM, OTHER = (-1.0, 3.0), (-1.3, 3.0), (-1.5, 2.0)
WIDTH, MOST = 24, 22


def lengths_said(sixteenths):
    """All ways of saying a length that the training says, too."""
    whole, (top, bottom) = sixteenths // 16, texts.reduced(sixteenths % 16)
    if sixteenths % 16 == 0:
        return [texts.words(whole), f"{texts.words(whole)} inch{'es' if whole != 1 else ''}"]
    name = {2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth"}[bottom]
    parts = ([f"{'an' if bottom == 8 else 'a'} {name}", f"one {name}"] if top == 1 else
             [f"{texts.words(top)} {name}s"])
    said = []
    for part in parts:
        if whole == 0:
            said += [part, f"{part} inch", f"{part} of an inch"]
            continue
        unit = "inch" if whole == 1 else "inches"
        head = texts.words(whole)
        said += [f"{head} and {part}", f"{head} and {part} inches", f"{head} {unit} and {part}"]
    if bottom == 2:
        said += (["half an inch", "half inch"] if whole == 0 else
                 [f"{texts.words(whole)} point five", f"{texts.words(whole)} point five inches"])
    return said


class Tree:
    """Written forms as a tree of tokens; each end has a meaning."""

    def __init__(self, forms, spelling, device):
        nodes, ends = [{}], [-1]
        for meaning, text in forms:
            tokens = spelling.spell(text)
            at = 0
            for token in tokens or []:
                if token not in nodes[at]:
                    nodes[at][token] = len(nodes)
                    nodes.append({})
                    ends.append(-1)
                at = nodes[at][token]
            if tokens and ends[at] < 0:
                ends[at] = meaning
        most = max(map(len, nodes))
        token, child = np.zeros((len(nodes), most), int), np.full((len(nodes), most), -1)
        for at, after in enumerate(nodes):
            token[at, :len(after)], child[at, :len(after)] = list(after), list(after.values())
        self.token, self.child = torch.tensor(token).to(device), torch.tensor(child).to(device)
        self.end = torch.tensor(ends).to(device)


def forms_of(said):
    for form in texts.written(said):
        yield form
        yield form[:-1]
        yield form[0].lower() + form[1:]


class Phrases:
    def __init__(self, source):
        self.meanings, self.said = [], {}
        for name, all_said in source["commands"].items():
            self.meanings.append(name)
            for said in all_said:
                self.said[said] = len(self.meanings) - 1
        self.commands = len(self.meanings)
        for sixteenths in range(1, 60 * 16 + 1):
            self.meanings.append(sixteenths)
            for said in lengths_said(sixteenths):
                self.said.setdefault(said, len(self.meanings) - 1)
        self.confirming = {at for at, name in enumerate(self.meanings)
                           if name in texts.CONFIRMING and name != "No"}

    def forms(self, commands_only=False):
        return [(meaning, form) for said, meaning in self.said.items()
                if meaning < self.commands or not commands_only for form in forms_of(said)]

    def limits(self, meaning):
        return (NUMBER if meaning >= self.commands else
                CONFIRM if meaning in self.confirming else OTHER)


@torch.no_grad()
def search(model, heard, tree):
    """For each sound: the meanings reached, with log-probability and tokens."""
    count, device = len(heard), heard.device
    tokens = torch.full((count, 1, 1), recogniser.BEGIN, device=device)
    node = torch.zeros(count, 1, dtype=torch.long, device=device)
    nats = torch.zeros(count, 1, device=device)
    ends = []
    best = torch.full((count,), -math.inf, device=device)
    for step in range(MOST):
        with torch.autocast(device.type, dtype=torch.bfloat16):
            flat = tokens.flatten(0, 1)
            logits = model.decoder(flat, heard, last=True)[:, -1]
        each = logits.float().log_softmax(-1).view(count, tokens.shape[1], -1)
        meaning = tree.end[node]
        ended = torch.where(meaning >= 0, nats + each[..., recogniser.END], -math.inf)
        ends.append((meaning, ended, step + 1))
        best = torch.maximum(best, ended.amax(1))
        token, child = tree.token[node], tree.child[node]
        grown = nats[..., None] + each.gather(-1, token)
        grown = torch.where(child >= 0, grown, -math.inf).flatten(1)
        nats, at = grown.topk(min(WIDTH, grown.shape[1]), 1)
        if bool((nats[:, 0] < best - 12).all()):
            break
        parent = at // token.shape[2]
        new = token.flatten(1).gather(1, at)
        node = child.flatten(1).gather(1, at).clamp_min(0)
        tokens = tokens.gather(1, parent[..., None].expand(-1, -1, tokens.shape[2]))
        tokens = torch.cat((tokens, new[..., None]), 2)
    found = [{} for _ in range(count)]
    for meaning, ended, size in ends:
        for at, (row, scores) in enumerate(zip(meaning.tolist(), ended.tolist())):
            for which, score in zip(row, scores):
                if score > -60:
                    old = found[at].get(which, (-math.inf, -math.inf, 0))
                    longest = (score, size) if score > old[1] else old[1:]
                    found[at][which] = (float(np.logaddexp(old[0], score)), *longest)
    return found


# Noise for validation only, from a fixed seed.

def grinder(rng, size):
    time = np.arange(size) / RATE
    speed = 150 * (1 + 0.15 * np.convolve(rng.standard_normal(size), np.ones(8000) / 90, "same"))
    phase = 2 * np.pi * np.cumsum(speed) / RATE
    teeth = sum(np.sin(k * phase + rng.uniform(0, 6)) * rng.uniform(0.2, 1) for k in range(1, 40))
    hiss = np.diff(rng.standard_normal(size + 1))
    return teeth / teeth.std() + hiss / hiss.std() * (1 + np.sin(2 * np.pi * 0.6 * time))


def rain(rng, size):
    drops = (rng.random(size) < 0.03) * rng.exponential(1.0, size)
    kernel = np.exp(-np.arange(60) / 9) * np.sin(np.arange(60) * 1.1)
    return np.convolve(drops, kernel, "same") + 0.05 * rng.standard_normal(size)


def traffic(rng, size):
    brown = np.convolve(np.cumsum(rng.standard_normal(size)), [1, -1], "same")
    brown = np.convolve(brown, np.ones(24) / 24, "same")
    tyres = np.convolve(rng.standard_normal(size), np.hanning(9), "same")
    swell = 1.2 + np.sin(2 * np.pi * 0.15 * np.arange(size) / RATE + rng.uniform(0, 6))
    return brown / brown.std() + 0.6 * tyres / tyres.std() * swell


def radio(rng, size):
    sound = np.zeros(size)
    for start in range(0, size, RATE // 2):
        time = np.arange(min(RATE // 2, size - start)) / RATE
        root = 110 * 2 ** (rng.integers(0, 24) / 12)
        for step in (0, 4, 7, 12):
            for k in (1, 2, 3, 5):
                sound[start:start + len(time)] += np.sin(
                    2 * np.pi * k * root * 2 ** (step / 12) * time) / k * np.exp(-3 * time)
        beat = min(2000, len(time))
        sound[start:start + beat] += 2 * rng.standard_normal(beat) * np.exp(-np.arange(beat) / 300)
    return sound


def generator(rng, size):
    firing = np.zeros(size)
    firing[::RATE // int(rng.integers(24, 34))] = 1
    firing *= 1 + 0.3 * rng.standard_normal(size)
    time = np.arange(1600) / RATE
    knock = sum(np.sin(2 * np.pi * f * time) * np.exp(-time * d)
                for f, d in ((70, 30), (190, 50), (640, 120), (1900, 300)))
    hum = np.convolve(rng.standard_normal(size), np.ones(5) / 5, "same")
    return np.convolve(firing, knock, "same") / 0.2 + 0.5 * hum


def crowd(rng, size, talk):
    sound = np.zeros(size)
    for _ in range(4):
        start = rng.integers(0, len(talk) - size)
        voice = talk[start:start + size].astype(np.float32)
        sound += voice / (voice.std() + 1)
    return sound


class Noises:
    KINDS = ("grinder", "rain", "traffic", "radio", "generator", "crowd")

    def __init__(self, talk):
        rng = np.random.default_rng(2024)
        makers = {"grinder": grinder, "rain": rain, "traffic": traffic, "radio": radio,
                  "generator": generator, "crowd": lambda r, n: crowd(r, n, talk)}
        self.bank = {kind: [self.unit(make(rng, RATE * 20)) for _ in range(6)]
                     for kind, make in makers.items()}

    @staticmethod
    def unit(sound):
        return ((sound - sound.mean()) / sound.std()).astype(np.float32)

    def cut(self, rng, size, kind=None):
        kind = kind or self.KINDS[rng.integers(len(self.KINDS))]
        sound = self.bank[kind][rng.integers(6)]
        start = rng.integers(0, len(sound) - size)
        return self.unit(sound[start:start + size]), kind


def kind_of(key):
    """The noise that `mixed` takes by this key."""
    return Noises.KINDS[np.random.default_rng(zlib.crc32(key.encode())).integers(
        len(Noises.KINDS))]


def mixed(clip, level_db, noises, key, kind=None):
    """A clip between 0.5 s and 0.7 s or more, to a whole quarter second."""
    rng = np.random.default_rng(zlib.crc32(key.encode()))
    clip = clip.astype(np.float32) / 32768
    size = math.ceil((len(clip) / RATE + 1.2) * 4) * RATE // 4
    whole = np.zeros(size, np.float32)
    whole[RATE // 2:RATE // 2 + len(clip)] = clip
    if level_db is None:
        return whole + 3e-4 * rng.standard_normal(size).astype(np.float32)
    noise, _ = noises.cut(rng, size, kind)
    whole += noise * np.sqrt((clip ** 2).mean()) * 10 ** (-level_db / 20)
    return whole / max(1.0, np.abs(whole).max() / 0.95)


def clips_of(folder, name):
    sound = np.fromfile(folder / f"{name}.raw", np.int16)
    return [(sound[start:start + length], said, kind, voice) for start, length, said, kind, voice
            in json.loads((folder / f"{name}.json").read_text())]


def by_size(items, most):
    """Indices of items of one size, some at a time."""
    order = sorted(range(len(items)), key=lambda at: len(items[at]))
    part = []
    for at in order:
        if part and (len(items[at]) != len(items[part[0]]) or len(part) == most):
            yield part
            part = []
        part.append(at)
    if part:
        yield part


class Validation:
    def __init__(self, folder, spelling, device):
        folder = pathlib.Path(folder)
        self.device, self.spelling = device, spelling
        self.phrases = Phrases(json.loads((folder / "phrases.json").read_text()))
        self.tree = Tree(self.phrases.forms(), spelling, device)
        self.commands = Tree(self.phrases.forms(True), spelling, device)
        others = clips_of(folder, "negatives")
        foreign = np.concatenate([clip for clip, _, _, voice in others if voice != "human"])
        self.noises = Noises(foreign)
        said, talk = [], []
        for path in sorted(folder.glob("validation-*.json")):
            for clip in clips_of(folder, path.stem):
                (said if clip[2] else talk).append(clip)
        self.positives, turns = [], {}
        for clip, text, _, voice in said:
            if text not in self.phrases.said:
                continue
            # Said once more, it is heard in other noise.
            turn = turns[voice, text] = turns.get((voice, text), -1) + 1
            for level in LEVELS_DB:
                key = f"{voice} {text} {level}" + (f" {turn}" if turn else "")
                self.positives.append((mixed(clip, level, self.noises, key), level,
                                       self.phrases.said[text], voice, kind_of(key)))
        self.negatives = [(mixed(clip, level, self.noises, f"{number} {level}"), voice)
                          for number, (clip, _, _, voice) in enumerate([*talk, *others])
                          for level in NEGATIVE_LEVELS_DB]
        for number in range(900):
            rng = np.random.default_rng(number)
            noise, kind = self.noises.cut(rng, RATE * 2 + RATE // 4 * (number % 9))
            self.negatives.append((noise * 10 ** (-rng.uniform(14, 40) / 20), f"noise, {kind}"))
        self.hours = sum(len(sound) for sound, _ in self.negatives) / RATE / 3600
        self.people = [(clip, number) for number, (clip, _, _, voice) in enumerate(others)
                       if voice == "human"]
        self.transcripts = {}

    def sounds(self, items, most=32):
        for part in by_size([item[0] for item in items], most):
            x = torch.from_numpy(np.stack([items[at][0] for at in part])).to(self.device)
            yield part, x

    def encoded(self, model, x):
        with torch.no_grad(), torch.autocast(self.device, dtype=torch.bfloat16):
            return model.encoder(x)

    def measure(self, model):
        result = {"levels": {}, "voices": {}}
        rows = []
        for part, x in self.sounds(self.positives):
            for at, found in zip(part, search(model, self.encoded(model, x), self.tree)):
                _, level, truth, voice, kind = self.positives[at]
                ranked = sorted(found.items(), key=lambda item: -item[1][0])
                best, (nats, _, size) = ranked[0] if ranked else (-1, (-99.0, 0, 1))
                second = ranked[1][1][0] if len(ranked) > 1 else -99.0
                true = found.get(truth, (-99.0, 0, 1))[0]
                rival = max((s[0] for m, s in found.items() if m != truth), default=-99.0)
                least, apart = self.phrases.limits(best)
                accepted = best >= 0 and nats / size >= least and nats - second >= apart
                rows.append((level, voice, truth < self.phrases.commands, best == truth,
                             accepted and best == truth, accepted and best != truth,
                             float(np.clip(true - rival, -10, 10)), kind))
        for level in LEVELS_DB:
            mine = [row for row in rows if row[0] == level]
            result["levels"][str(level)] = {
                "count": len(mine),
                "right": 100 * float(np.mean([row[3] for row in mine])),
                "command right": 100 * float(np.mean([row[3] for row in mine if row[2]])),
                "length right": 100 * float(np.mean([row[3] for row in mine if not row[2]])),
                "accepted": 100 * float(np.mean([row[4] for row in mine])),
                "wrong": sum(row[5] for row in mine),
                "margin": float(np.mean([row[6] for row in mine]))}
        for voice in sorted({row[1] for row in rows}):
            mine = [row for row in rows if row[1] == voice]
            result["voices"][voice] = [100 * float(np.mean([row[k] for row in mine]))
                                       for k in (3, 4)]
        result["kinds"] = {
            kind: {str(level): 100 * float(np.mean([row[3] for row in rows
                                                    if row[0] == level and row[7] == kind] or [0]))
                   for level in LEVELS_DB[1:]} for kind in Noises.KINDS}
        confirmed, likely, worst, sources = 0, 0, [], {}
        for part, x in self.sounds(self.negatives, 64):
            for at, found in zip(part, search(model, self.encoded(model, x), self.commands)):
                ranked = sorted(found.items(), key=lambda item: -item[1][0])
                if not ranked:
                    continue
                best, (nats, _, size) = ranked[0]
                second = ranked[1][1][0] if len(ranked) > 1 else -99.0
                if best not in self.phrases.confirming:
                    continue
                likely += nats / size > -2.0
                if nats / size > CONFIRM[0] and nats - second > CONFIRM[1]:
                    confirmed += 1
                    source = self.negatives[at][1].split(",")[0]
                    sources[source] = sources.get(source, 0) + 1
                worst.append((round(nats / size, 2), self.phrases.meanings[best],
                              self.negatives[at][1], round(nats - second, 1)))
        result["negatives"] = {"count": len(self.negatives), "hours": self.hours,
                               "confirmed": confirmed, "above -2": int(likely), "sources": sources,
                               "worst": sorted(worst, reverse=True)[:8]}
        result["people"] = self.of_people(model)
        return result

    @torch.no_grad()
    def of_people(self, model):
        """How likely, per token, a person's words stay (the base's own on clean sound)."""
        made = {}
        for level in LEVELS_DB:
            items = [(mixed(clip, level, self.noises, f"person {number} {level}"), number)
                     for clip, number in self.people]
            nats = count = 0
            for part, x in self.sounds(items):
                heard = self.encoded(model, x)
                if level is None and len(self.transcripts) < len(items):
                    for row, at in enumerate(part):
                        self.transcripts[items[at][1]] = greedy(model, heard[row:row + 1], 60)
                wanted = [self.transcripts[items[at][1]] for at in part]
                there = [row for row, tokens in enumerate(wanted) if tokens]
                if not there:
                    continue
                tokens = padded_tokens([wanted[row] for row in there], self.device)
                with torch.autocast(self.device, dtype=torch.bfloat16):
                    each, size = log_likelihood(model, heard[there], *tokens)
                nats, count = nats + float(each.sum()), count + int(size.sum())
            made[str(level)] = nats / max(count, 1)
        return made


def table(results):
    """The results as text to read."""
    names = ["clean", "20", "10", "5", "0", "-5"]
    lines = ["| | " + " | ".join(names) + " |", "| --- |" + " --- |" * len(names)]
    for what, form in (("right", "%"), ("command right", "%"), ("length right", "%"),
                       ("accepted", "%"), ("wrong", "n"), ("margin", "nats")):
        for name, result in results.items():
            values = [result["levels"][str(level)][what] for level in LEVELS_DB]
            cells = [f"{v:.1f}" if form != "n" else str(v) for v in values]
            lines.append(f"| {name}: {what}, {form} | " + " | ".join(cells) + " |")
    for kind in Noises.KINDS:
        for name, result in results.items():
            lines.append(f"| {name}: right in {kind}, % | | " + " | ".join(
                f"{v:.1f}" for v in result["kinds"][kind].values()) + " |")
    for name, result in results.items():
        lines.append(f"| {name}: a person's words, nats a token | " + " | ".join(
            f"{v:.2f}" for v in result["people"].values()) + " |")
    for name, result in results.items():
        n = result["negatives"]
        lines.append(f"{name}: {n['confirmed']} false confirmations in {n['count']} negatives "
                     f"({n['hours']:.1f} h), {n['above -2']} above -2; voices "
                     + ", ".join(f"{v} {r[0]:.1f}/{r[1]:.1f}" for v, r in
                                 result["voices"].items()))
        lines.append(f"   of {n['sources']}, worst {n['worst'][:4]}")
    return "\n".join(lines)


def main(folder, base, tokenizer, out, *adapters):
    device = "cuda" if torch.cuda.is_available() else "cpu"
    validation = Validation(folder, recogniser.Spelling(tokenizer), device)
    results = {}
    for name in ("base", *adapters):
        model = recogniser.load(base)
        if name != "base":
            model = model.adapt().take(recogniser.read_adapter(name)).merge()
        results[pathlib.Path(name).stem] = validation.measure(model.to(device).eval())
        pathlib.Path(out).write_text(json.dumps(results, indent=1))
        print("measured", name, flush=True)
    print(table(results))


if __name__ == "__main__":
    if len(sys.argv) < 5:
        sys.exit(__doc__)
    main(*sys.argv[1:])
