"""Who speaks where: every voice and recording stands in one set only.

TRAIN is what the adapter learns from, VALIDATION what a run is chosen on, FIT
what thresholds are fitted on, REPORT what the published tables are made of. A
speaker in two sets would make a table look better than the ear is: the voice of
one person in two synthesizers counts as one speaker, an espeak-ng variant counts
as one speaker in every accent.
"""

import pathlib

REPORT = {
    "espeak": ["en-us+f4", "en-us+m1"],
    "flite": ["slt", "awb"],
    "piper": ["joe"],
    "kokoro": ["am_michael", "af_bella", "bm_george", "bf_emma"],
}
FIT = {
    "espeak": ["en-us+m3", "en-gb+f2"],
    "flite": ["kal16", "kal"],
    "festival": ["kal_diphone"],
    "kokoro": ["am_adam", "af_sarah", "bm_lewis", "bf_alice"],
}
VALIDATION = {
    "espeak": ["en-gb-scotland+f5"],
    "kokoro": ["am_eric", "af_nova", "bm_daniel"],
}
TRAIN = {
    "flite": ["rms"],
    "festival": ["ked_diphone"],
    "kokoro": [
        "af_alloy", "af_aoede", "af_heart", "af_jessica", "af_kore", "af_river", "af_sky",
        "am_echo", "am_fenrir", "am_liam", "am_onyx", "am_puck", "am_santa",
        "bf_isabella", "bf_lily", "bm_fable",
    ],
}

# espeak-ng's accents that English is trained in, the common ones more often.
ESPEAK_ACCENTS = ["en-us"] * 5 + [
    "en-gb", "en-gb-x-rp", "en-gb-scotland", "en-us-nyc", "en-029", "en-gb-x-gbclan",
    "en-gb-x-gbcwmd",
]
# Variants that are effects, not people.
ESPEAK_EFFECTS = ("whisper", "robosoft", "demonic", "croak", "unirobot", "anikarobot", "klatt6",
                  "tweaky", "announcer", "fast")

# Other languages, as something that is no phrase: where lines of a language are
# among Debian's fortunes, and which espeak-ng voice reads which.
FOREIGN_TEXTS = {"es": ["es/*"], "it": ["italia", "leggi", "formiche", "it/*"], "de": ["de/*"],
                 "ru": ["ru/*"], "pl": ["pl/*"], "pt": ["brasil"]}
FOREIGN_VOICES = [("es", "es"), ("es-419", "es"), ("it", "it"), ("de", "de"), ("ru", "ru"),
                  ("ru", "ru"), ("pl", "pl"), ("pt-br", "pt"), ("fr", "pt"), ("fr", "it"),
                  ("fr", "es"), ("nl", "de"), ("tr", "it"), ("hu", "pl"), ("ro", "it"),
                  ("uk", "ru"), ("hi", "es"), ("sv", "de"), ("fi", "it")]

# The human prompts: sorted, every third is trained on, fitted on, reported on.
# The folders of digits and of silence are left out; the digits are REPORT.
PROMPTS = pathlib.Path("/usr/share/asterisk/sounds/en_US_f_Allison")
PROMPT_SETS = ("train", "fit", "report")
PROMPT_MOST_S = 5.0
# Other people's languages: nothing in them is a phrase. Never trained on.
FOREIGN = [pathlib.Path("/usr/share/asterisk/sounds") / name for name in (
    "es_MX_f_Allison", "fr_CA_f_June", "it_IT_m_Carlo", "ru_RU_f_IvrvoiceRU")]


def espeak_training_variants(folder):
    """The names of the variants in espeak-ng's `!v` folder that may be trained on."""
    taken = {name.split("+")[1].lower() for part in (REPORT, FIT, VALIDATION)
             for name in part["espeak"]}
    # A variant file and its numbered copies ("steph", "steph2") sound alike, but
    # the plain ones ("f4", "m1") are people of their own.
    return sorted(path.name for path in pathlib.Path(folder).iterdir()
                  if path.name.lower() not in taken
                  and not any(word in path.name.lower() for word in ESPEAK_EFFECTS))


def prompts(which):
    """The human prompts of one set: "train", "fit" or "report"."""
    found = sorted(path for path in PROMPTS.rglob("*.wav")
                   if path.parent.name not in ("digits", "silence")
                   and path.stat().st_size < 8000 * 2 * PROMPT_MOST_S)
    return found[PROMPT_SETS.index(which)::3]


def check():
    """Stops when one speaker stands in two sets."""
    sets = {"report": REPORT, "fit": FIT, "validation": VALIDATION, "train": TRAIN}
    seen = {}
    for name, voices in sets.items():
        for engine, speakers in voices.items():
            for speaker in speakers:
                person = speaker.split("+")[-1].lower()
                other = seen.setdefault((engine, person), name)
                assert other == name, f"{speaker} is in {other} and in {name}"


check()
