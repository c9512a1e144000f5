"""What is said in training: the project's own phrases, and everything else.

Phrases are read from the source and the shipped checklists, so a new phrase or
answer is trained on by running this again. Everything else is sentences that are
no phrase: near misses made of the same words, talk of the trade, and ordinary
sentences (Debian's fortunes). What the tables and the demonstration use as
chatter is left out.
"""

import pathlib
import random
import re
import tomllib

ROOT = pathlib.Path(__file__).resolve().parents[2]
FORTUNES = pathlib.Path("/usr/share/games/fortunes")
# The English ones (packages fortunes-min and fortunes); other languages lie beside.
ENGLISH = """art computers cookie debian definitions disclaimer drugs education ethnic food fortunes
goedel humorists kids knghtbrd law linux linuxcookie literature love magic medicine men-women
miscellaneous news paradoxum people perl pets platitudes politics pratchett riddles science
songs-poems sports startrek tao translate-me wisdom work zippy""".split()

ONES = ("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen "
        "fifteen sixteen seventeen eighteen nineteen").split()
TENS = "- - twenty thirty forty fifty sixty seventy eighty ninety".split()
# Alone, these sound like another word.
HOMOPHONES = {"one", "two", "four", "eight"}

CONFIRMING = ("StepDone", "Yes", "No", "LogAsIs", "Skip", "PhotoTaken", "WasWrong")
CALLS = ["logbook", "logbook", "logbook", "hey logbook", "roof logbook", "chalk line",
         "hello logbook"]
SINGLE = """north south east west rake eave valley ridge hip gable left right yes no clear close
near far wet dry icy soft rotten flush loose tight open closed covered damaged missing nothing
other both neither front back top bottom middle sunny windy cloudy metal wood tile slate shingle
felt vent chimney gutter flashing drip unknown ready empty full""".split()
ELSE = ["something else", "something else", "something else", "none of these", "none of those",
        "none of them", "another one", "it is something else", "nothing of that", "i cannot tell"]


def words(number):
    """A whole number below a million in words."""
    if number < 20:
        return ONES[number]
    if number < 100:
        return TENS[number // 10] + (f" {ONES[number % 10]}" if number % 10 else "")
    size, name = (100, "hundred") if number < 1000 else (1000, "thousand")
    rest = f" {words(number % size)}" if number % size else ""
    return f"{words(number // size)} {name}{rest}"


def fraction(random, top, bottom):
    """The words of a fraction below one, in one of the ways people say it."""
    if bottom == 2:
        return random.choice(["a half", "a half", "one half"])
    name = {4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty second"}[bottom]
    if top == 1:
        return random.choice(["an" if bottom == 8 else "a", "one"]) + f" {name}"
    return f"{words(top)} {name}s"


def reduced(sixteenths):
    top, bottom = sixteenths, 16
    while bottom > 1 and top % 2 == 0:
        top, bottom = top // 2, bottom // 2
    return top, bottom


def length(random, sixteenths):
    """A length below or above an inch as said on a tape."""
    whole, (top, bottom) = sixteenths // 16, reduced(sixteenths % 16)
    if sixteenths % 16 == 0:
        return random.choice([words(whole), f"{words(whole)} inch{'es' if whole != 1 else ''}"])
    part = fraction(random, top, bottom)
    if whole == 0:
        ways = [part, f"{part} inch", f"{part} of an inch"]
        if bottom == 2:
            ways += ["half an inch", "half inch"]
        return random.choice(ways)
    unit = "inch" if whole == 1 else "inches"
    ways = [f"{words(whole)} and {part}", f"{words(whole)} and {part} inches",
            f"{words(whole)} and {part} inches", f"{words(whole)} {unit} and {part}"]
    if (top, bottom) == (1, 2) and random.random() < 0.3:
        ways = [f"{words(whole)} point five", f"{words(whole)} point five inches"]
    return random.choice(ways)


def in_feet(random, feet, inches, sixteenths):
    unit = "foot" if feet == 1 else random.choice(["feet", "feet", "foot"])
    head = random.choice(["a foot"] * (feet == 1) + [f"{words(feet)} {unit}"])
    if inches == 0 and sixteenths == 0:
        return head
    if inches == 6 and sixteenths == 0 and random.random() < 0.4:
        return random.choice([f"{head} and a half", f"{words(feet)} and a half feet"])
    rest = inches * 16 + sixteenths
    if inches == 0:
        return f"{head} {fraction(random, *reduced(sixteenths))} inch"
    if sixteenths == 0:
        unit = "inch" if inches == 1 else "inches"
        return f"{head} {words(inches)}" + random.choice(["", f" {unit}"])
    return f"{head} {length(random, rest)}"


def normal(text):
    return " ".join(re.sub(r"[^a-z' ]", " ", text.lower().replace("\u2019", "'")).split())


def project_phrases():
    """The command phrases by meaning, from the one table of the language."""
    path = ROOT / "src/speech/languages/en.toml"
    table = tomllib.loads(path.read_text())["phrases"]
    found = {name.title().replace("-", ""): said for name, said in table.items()}
    assert len(found) > 10 and all(found.values()), f"{path} has changed its form"
    return found


def project_choices():
    """Every answer that a shipped checklist offers."""
    found = set()

    def walk(value, key=""):
        if isinstance(value, dict):
            for name, inner in value.items():
                walk(inner, name)
        elif isinstance(value, list):
            for inner in value:
                if key in ("choice", "options") and isinstance(inner, str):
                    found.add(inner)
                else:
                    walk(inner)

    for path in sorted((ROOT / "checklists").glob("*.toml")):
        walk(tomllib.loads(path.read_text()))
    assert len(found) > 20, "the checklists keep their choices elsewhere now"
    return sorted(found)


def held_out():
    """Sentences that measure the ear elsewhere and must not train it."""
    chatter = (ROOT / "packaging/hearing/talk.txt").read_text().strip().splitlines()
    demo = "".join(path.read_text() for path in sorted((ROOT / "src/cli/demo").glob("*.rs")))
    said = re.findall(r'"([a-z][a-z\' ]+ [a-z\' ]+)"', demo)
    return {normal(line) for line in [*chatter, *said]}


NOUNS = """hammer ladder truck bundle shingle nail gun compressor hose tarp rope harness anchor
chimney gutter flashing plywood board sheet saw drill bit tape square pencil knife bucket radio
phone crew helper driver customer lunch coffee rain roof deck eave rake hip box pallet crane trailer
generator cord battery charger glove boot hat mask vent pipe joist rafter wall door window attic
camera sticker screw washer cap roll blade magnet broom bag invoice permit""".split()
VERBS = """pass grab bring drop lift hold move check fix cut measure mark nail load carry stack sweep
clean lower raise tie push pull turn open close find photograph log count skip repeat read""".split()
PLACES = ["on the", "under the", "near the", "behind the", "next to the", "up on the",
          "down from the", "in the", "from the", "over by the", "past the"]
# {n} a thing, {v} a doing, {p} a place, {N} a number.
NEAR = """the step was done badly|step {v} done|that step got done|done with that {n}|the {n} is done
is the {n} done|are we done|nearly done|he is done|done and dusted|get it done|it will be done by {N}
the {n} is complete|complete the {n}|step complete with the {n}|completely wrong|the steps are wet
step up|step down|step on it|step over here|step off the {n}|step around the {n}|next step
the first step|every step counts|step ladder|stepping back|steps done badly|stop it|stop the {n}
yes|yes sir|yes please|yes it is|yes we did|yes the {n}|yes that one|yes that is the {n}
yes that was right|yes right there|yes i know|yes he is|yeah that is it|yep|yes that is fine
that is right by the {n}|that is right|right that is it|right|all right|the right {n}
right hand side|no|no sir|no way|no thanks|no the {n}|no that is the {n}|no that is not mine
no that was him|no that one is wrong|that is wrong|wrong|the wrong {n}|what went wrong
there is nothing wrong|something is wrong with the {n}|that was right|that was close|that was loud
that was the {n}|that was wrong of him|it was wrong|was it wrong|he was wrong about the {n}
repeat after him|repeat the {n}|repeat that order|say it again|again|once more|again and again
go back to the {n}|go back inside|he went back|go get the {n}|go ahead|go home|go slow|let it go
back up|back off|come back|back in a minute|my back hurts|look back|the back of the {n}
pause the music|take a pause|here|over here|wait here|come here|it is here|here it is|here you go
resume the {n}|the work is done|work on the {n}|back to work|go to work|nice work|work faster
where are the {n}s|where is the {n}|where are they|where are you|where were we|there we are
who are we|are we there|read the {n}|read the label|read the sign|the reason is the {n}
for some reason|no reason|caution tape|use caution|caution wet {n}|the caution sign fell
take a {n}|take a break|take a seat|take note|take the {n}|a note from the boss|note the {n}
take it to the {n}|photo of the {n}|take a photo|take a picture|photo|the photo was taken
photos are taken|is it taken|taken away|skip it|skip that one|skip the {n}|skip this {n}
skip this one|skip the step stool|log it in|log the {n}|log off|log in|a log|book it|the book
look at the book|the book is on the {n}|as it is|it is as it is|leave it as it is|log it later
measure the {n}|measure it|measure twice|measure once|again with the {n}|measuring tape
the log book is in the truck|chalk it up|the chalk is wet|line up the {n}s|hey {n}|hello there
{N} and a half hours|{N} and a half dollars|{N} inches of rain|{N} feet of rope|{N} foot {n}
{N} and {N} is {N}|{N} quarters|{N} eighths of them|half a day|half past {N}|quarter past {N}
{N} {n}s|{N} inches too long|{N} minutes|{N} in the morning|{N} of us|{N} to go|only {N} left
plus {N}|minus {N}|{N} people|we are {N} short|add {N} to it|{N} pounds|a foot of snow
a foot in the door|for half an hour|too late|an inch too far|inch by inch|a mile and a half
sixteen {n}s|half of the {n}s|a quarter of the {n}|every inch of it|on foot|feet first
six of twelve|six or twelve|twelve inch {n}|number {N}|room {N}|page {N}|{N} percent
{N} degrees|{N} dollars|{N} o'clock|{N} hundred {n}s|{N} {N} {N}|call {N} {N} {N}
dry rot|dry it off|wet paint|the {n} is wet|the {n} is dry|all dry by {N}|clear the {n}
the lines are down|lines of {n}s|wires|the wires are hot|cables on the {n}|open the {n}
close the {n}|something fell|something smells|else what|what else|anything else|who else
everything else is fine|nothing|nothing much|light the {n}|it is dark|dark clouds|the edge
north of town|the valley is green|ridge road|rake the leaves|shut the {n}|loose change""".replace(
    "\n", "|").split("|")
TALK = """{v} me the {n}|{v} the {n} {p} {n}|did you {v} the {n}|i need another {n}
we have {N} {n}s left|the {n} is {p} {n}|can you {v} that {n}|put it {p} {n}
there are {N} {n}s {p} {n}|{N} more {n}s please|give me {N} of those|about {N} minutes
turn off the {n}|who took my {n}|the {n} is broken|don't {v} the {n}|we are out of {n}s
that {n} is too short|that {n} is {N} feet long|she left the {n} {p} {n}|he fell off the {n}
the {n} and the {n}|{n} and {n}|is that your {n}|it looks like rain|hand it up|heads up
watch the {n}|watch your head|be careful|easy now|hold on|hang on|wait a second|hurry up
not yet|almost there|okay|sure|never mind|sounds good|what did he say|i can't hear you
it's too loud|speak up|where are you going|good morning|thank you|see you tomorrow
how are you|what time is it|let me see|i don't know|maybe later|lunch time|break time
the customer called|call the office|the {n} comes at {N}|the truck is here|move the truck
who is driving|turn left at the {n}|it is hot up here|drink some water|mind the {n}
get off the {n}|tie it to the {n}|lift on {N}|one two three lift|up a bit|down a bit
a little more|too much|that's enough|slide it over|flip it|leave it there|bring it here
what about the {n}|how many {n}s are there|how long is the {n}|how far is the {n}
the boss wants a {n}|i cut the {n} at {N}|i think so|i guess|no idea|of course|exactly
my {n} is dead|plug it in|shut it off|crank it up|is it level|is it straight|it is crooked
nail it down|pull that nail|the {n} slipped|it slipped|that hurts|are you okay|i'm fine
did you eat|what's for lunch|the game was good|my kid is sick|he quit|she is late
the {n} cost {N} dollars|charge the {n}|the saw is dull|sharpen the {n}|sweep it up""".replace(
    "\n", "|").split("|")


class Texts:
    """Draws what to say; the same seed says the same."""

    def __init__(self, seed):
        self.random = random.Random(seed)
        self.commands = project_phrases()
        self.choices = project_choices()
        self.held_out = held_out()
        self.confirming = [said for name in CONFIRMING for said in self.commands.get(name, [])]
        self.commanding = [said for name, all_said in self.commands.items() for said in all_said
                           if name != "CallWord"]
        self.phrases = {normal(said) for said in
                        [*self.commanding, *CALLS, *SINGLE, *ELSE, *self.choices]}
        self.ordinary = self.fortunes()

    @staticmethod
    def fortunes():
        found = set()
        for path in sorted(FORTUNES / name for name in ENGLISH):
            if not path.is_file():
                continue
            for part in re.split(r"(?<=[.!?,;:])\s+|\n", path.read_text(errors="ignore")):
                part = part.strip(" .!?,;:\"'-").lower()
                if re.fullmatch(r"[a-z]+('[a-z]+)?( [a-z]+('[a-z]+)?){1,8}", part) \
                        and 6 < len(part) < 48:
                    found.add(part)
        assert len(found) > 2000, "Debian's fortunes are missing; apt-get install fortunes"
        return sorted(found)

    def number(self):
        pick = self.random
        return words(pick.choice([pick.randint(1, 12), pick.randint(1, 60), pick.randint(5, 99)]))

    def filled(self, template):
        pick = self.random
        ways = {"n": lambda: pick.choice(NOUNS), "v": lambda: pick.choice(VERBS),
                "p": lambda: pick.choice(PLACES), "N": self.number}
        return re.sub(r"\{(\w)\}", lambda found: ways[found.group(1)](), template)

    def measure(self):
        pick = self.random
        way = pick.random()
        if way < 0.2:
            return in_feet(pick, pick.choice([pick.randint(1, 5), pick.randint(1, 40)]),
                           pick.randint(0, 11), pick.choice([0, 0, pick.randint(1, 15)]))
        whole = pick.choice([pick.randint(0, 14), pick.randint(0, 60)])
        kind = pick.random()  # halves and quarters, eighths and sixteenths alike often
        part = (0 if kind < 0.2 else pick.choice([4, 8, 12]) if kind < 0.42 else
                pick.randrange(2, 16, 4) if kind < 0.7 else pick.randrange(1, 16, 2))
        return length(pick, whole * 16 + part) if whole or part else "half an inch"

    def count(self):
        pick = self.random
        way = pick.random()
        if way < 0.75:
            return words(pick.randint(0, 120))
        if way < 0.9:
            return words(pick.choice([13, 30, 14, 40, 15, 50, 16, 60, 17, 70, 18, 80, 19, 90]))
        return words(pick.choice([pick.randint(121, 999), pick.randint(1, 90) * 100]))

    def phrase(self):
        pick = self.random
        way = pick.random()
        if way < 0.25:
            return pick.choice(self.confirming)
        if way < 0.38:
            return pick.choice(self.commanding)
        if way < 0.44:
            return pick.choice(CALLS)
        if way < 0.74:
            return self.measure()
        if way < 0.84:
            return self.count()
        if way < 0.87:
            return f"{words(pick.randint(1, 21))} in twelve"
        if way < 0.95:
            return pick.choice(self.choices)
        return pick.choice(SINGLE if way < 0.98 else ELSE)

    def draw(self):
        """What to say and whether it is a phrase."""
        pick = self.random
        while True:
            way = pick.random()
            if way < 0.54:
                said = self.phrase()
                if said not in HOMOPHONES:
                    return said, True
                continue
            said = (self.filled(pick.choice(NEAR)) if way < 0.74 else
                    self.filled(pick.choice(TALK)) if way < 0.84 else pick.choice(self.ordinary))
            if normal(said) not in self.held_out and normal(said) not in self.phrases:
                return said, False


NUMBER = set(ONES) | set(TENS[2:]) | {"hundred", "thousand"}
PARTS = {"half": 2, "quarter": 4, "quarters": 4, "eighth": 8, "eighths": 8, "sixteenth": 16,
         "sixteenths": 16}


def value(run):
    """The number that a run of number words is; None for "five six"."""
    if run[0] in ("hundred", "thousand"):
        return None
    total, last = 0, 10_000
    for word in run:
        if word in ("hundred", "thousand"):
            total = (total * 1000 if word == "thousand" else
                     total // 1000 * 1000 + total % 1000 * 100)
            last = 1000 if word == "thousand" else 100
            continue
        size = ONES.index(word) if word in ONES else TENS.index(word) * 10
        if size >= last or (last < 100 and (last < 20 or size > 9)) or (total and not size):
            return None
        total, last = total + size, size
    return total


def written(said):
    """The ways the recogniser may write it: in words, with hyphens, in digits."""
    text = said.split()
    runs, at = [], 0  # words and numbers in turn
    while at < len(text):
        end = at
        while end < len(text) and text[end] in NUMBER and value(text[at:end + 1]) is not None:
            end += 1
        runs.append(text[at:max(end, at + 1)])
        at = max(end, at + 1)
    forms = {" ".join(text)}
    hyphened = re.sub(rf"\b({'|'.join(TENS[2:])}) ({'|'.join(ONES[1:10])})\b", r"\1-\2", said)
    forms.add(hyphened)
    digits = [str(value(run)) if run[0] in NUMBER and value(run) is not None else run[0]
              for run in runs]
    forms.add(" ".join(digits))
    whole = " ".join(digits)

    def as_digits(found):
        top = found.group(1)
        return f"{'1' if top in ('a', 'an') else top}/{PARTS[found.group(2)]}"

    sliced = re.sub(r"\b(a|an|\d+) (half|quarters?|eighths?|sixteenths?)\b", as_digits, whole)
    if sliced != whole:
        forms |= {sliced, re.sub(r"(\d+) and (\d+/\d+)", r"\1 \2", sliced)}
        # The whole in digits and its part in words.
        mixed = re.sub(r"\b(\d+) (quarters?|eighths?|sixteenths?)\b",
                       lambda found: f"{words(int(found.group(1)))} {found.group(2)}", whole)
        forms.add(mixed)
    forms |= {re.sub(r"(\d+) point five", r"\1.5", form) for form in list(forms)}
    for opener in ("yes", "no", "hey", "hello", "roof"):
        if said.startswith(opener + " ") and len(text) > 1:
            forms |= {f"{opener}, {form[len(opener) + 1:]}" for form in list(forms)}
    asks = text[0] in ("where", "what", "who", "how", "is", "are", "did", "can")
    closer = "?" if asks and len(text) > 1 else "."
    styled = {form[0].upper() + form[1:] + closer for form in forms}
    return sorted(re.sub(r"\bi\b(?=[ '.?])", "I", form) for form in styled)
