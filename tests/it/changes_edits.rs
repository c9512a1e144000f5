//! Single edits of the shipped deck-intake checklist and the sentences they
//! are told in, with the version they call for by the rule at
//! `domain::Version`. What is expected was written by hand.

/// One edit: a place that is there once, what is put there, the version it
/// calls for, all sentences.
pub(crate) struct Edit {
    pub(crate) find: &'static str,
    pub(crate) put: &'static str,
    pub(crate) raise: &'static str,
    pub(crate) told: &'static [&'static str],
}

const fn edit(
    find: &'static str,
    put: &'static str,
    raise: &'static str,
    told: &'static [&'static str],
) -> Edit {
    Edit { find, put, raise, told }
}

pub(crate) const EDITS: &[Edit] = &[
    // The head.
    edit(
        "title = \"Deck-mounted intake vent on a shingle roof\"",
        "title = \"Intake vent\"",
        "1.0.1",
        &["The title was “Deck-mounted intake vent on a shingle roof”, now “Intake vent”."],
    ),
    edit(
        "yields_to = \"the maker's printed instructions, the local code and its official, and licensed practice\"",
        "yields_to = \"the local code\"",
        "1.0.1",
        &[
            "The statement of what wins over the checklist was “the maker's printed instructions, the local code and its official, and licensed practice”, now “the local code”.",
        ],
    ),
    edit(
        "  \"29 CFR 1926 Subparts E, I, M and X\",\n",
        "",
        "1.0.1",
        &["A source is dropped: “29 CFR 1926 Subparts E, I, M and X”."],
    ),
    edit(
        "  \"29 CFR 1926 Subparts E, I, M and X\",\n",
        "  \"29 CFR 1926 Subparts E, I, M and X\",\n  \"a new one\",\n",
        "1.0.1",
        &["A source is new: “a new one”."],
    ),
    // Cautions.
    edit(
        "[facts.eave_height]",
        "[cautions.bees]\nsay = \"Look for nests.\"\nsource = \"common practice, no source\"\n[facts.eave_height]",
        "1.1.0",
        &["Caution `bees` is new: “Look for nests.”"],
    ),
    edit(
        "say = \"The deck only. Never cut, notch or drill a truss or a rafter.\"",
        "say = \"The deck only.\"",
        "1.0.1",
        &[
            "Caution `structure`: the wording was “The deck only. Never cut, notch or drill a truss or a rafter.”, now “The deck only.”",
        ],
    ),
    edit(
        "source = \"NIOSH 2011-202\"",
        "source = \"NIOSH\"",
        "1.0.1",
        &["Caution `nailer`: the source was “NIOSH 2011-202”, now “NIOSH”."],
    ),
    edit(
        "caution = [\"saw\", \"structure\"]",
        "caution = [\"structure\"]",
        "2.0.0",
        &["Step \"Cut the slot\" no longer says the caution `saw`."],
    ),
    edit(
        "caution = [\"saw\", \"structure\"]",
        "caution = [\"saw\", \"structure\", \"noise\"]",
        "1.1.0",
        &["Step \"Cut the slot\" now says the caution `noise` too."],
    ),
    edit(
        "caution = [\"saw\", \"structure\"]",
        "caution = [\"structure\", \"saw\"]",
        "1.0.1",
        &[
            "Step \"Cut the slot\": the order of the cautions was “saw”, “structure”, now “structure”, “saw”.",
        ],
    ),
    // Points.
    edit(
        "point = { kind = \"witness\", role = \"foreman\" }\ntags = [\"waterproofing\", \"closing\"]",
        "tags = [\"waterproofing\", \"closing\"]",
        "2.0.0",
        &["Step \"Underlayment\" has lost its witness point for the foreman."],
    ),
    edit(
        "point = { kind = \"hold\", role = \"foreman\", when = \"off_target(blade)\" }\n",
        "",
        "2.0.0",
        &[
            "Step \"Clear to cut\" has lost its hold point for the foreman, when \"Blade depth\" is off target.",
        ],
    ),
    edit(
        "why = \"At a joint water runs under the end of the vent.\"",
        "why = \"At a joint water runs under the end of the vent.\"\npoint = { kind = \"hold\", role = \"owner\", when = \"skipped(footing)\" }",
        "1.1.0",
        &[
            "Step \"Middle of a shingle\" has a new hold point for the owner, when \"Footing\" was skipped.",
        ],
    ),
    edit(
        "{ kind = \"hold\", role = \"foreman\", when = \"off_target(blade)\" }",
        "{ kind = \"witness\", role = \"foreman\", when = \"off_target(blade)\" }",
        "2.0.0",
        &["Step \"Clear to cut\": its point was a hold point, now it is a witness point."],
    ),
    edit(
        "{ kind = \"hold\", role = \"foreman\", when = \"off_target(blade)\" }",
        "{ kind = \"hold\", role = \"office\", when = \"off_target(blade)\" }",
        "2.0.0",
        &["Step \"Clear to cut\": its point was for the foreman, now it is for the office."],
    ),
    edit(
        "{ kind = \"hold\", role = \"foreman\", when = \"off_target(blade)\" }",
        "{ kind = \"hold\", role = \"foreman\" }",
        "2.0.0",
        &[
            "Step \"Clear to cut\": its point applied when \"Blade depth\" is off target, now it applies always.",
        ],
    ),
    edit(
        "off_target(blade)",
        "off_target(blade, course)",
        "1.1.0",
        &["Step \"Clear to cut\": its point now applies too when \"Course\" is off target."],
    ),
    edit(
        "off_target(read-nail-line, read-slot-low, ",
        "off_target(read-slot-low, ",
        "2.0.0",
        &["Step \"Cut the slot\": its point no longer applies when \"Nail line\" is off target."],
    ),
    // Figures.
    edit(
        "formula = \"5/8 in\"",
        "formula = \"3/4 in\"",
        "2.0.0",
        &[
            "Measure `border` (border kept at both edges of the slot): the formula was `5/8 in`, now `3/4 in`.",
        ],
    ),
    edit(
        "title = \"border kept at both edges of the slot\"\nbound = \"minimum\"",
        "title = \"border kept at both edges of the slot\"\nbound = \"maximum\"",
        "2.0.0",
        &[
            "Measure `border` (border kept at both edges of the slot): the rounding was up, as a least value, now down, as a greatest value.",
        ],
    ),
    edit(
        "graduation = \"1/8 in\"",
        "graduation = \"1/4 in\"",
        "2.0.0",
        &[
            "Measure `course_butt` (butt edge of that course, up from the deck edge): the graduation was 1/8 in, now 1/4 in.",
        ],
    ),
    edit(
        "title = \"slot width\"",
        "title = \"width\"",
        "1.0.1",
        &["Measure `slot_width` (width): the title was “slot width”, now “width”."],
    ),
    edit(
        "source = \"course times exposure\"",
        "source = \"profile\"",
        "1.0.1",
        &[
            "Measure `course_butt` (butt edge of that course, up from the deck edge): the source was “course times exposure”, now “profile”.",
        ],
    ),
    edit(
        "[measures.air_space]",
        "[measures.half_border]\nformula = \"border / 2\"\ntitle = \"half the border\"\n[measures.air_space]",
        "1.1.0",
        &["Measure `half_border` (half the border) is new: `border / 2`."],
    ),
    edit(
        "[each.run.measures.slot_length]",
        "[each.run.measures.cut_twice]\nformula = \"run.pieces * 2\"\ntitle = \"cuts\"\n[each.run.measures.slot_length]",
        "1.1.0",
        &["Measure `run.cut_twice` (cuts) is new: `run.pieces * 2`."],
    ),
    edit(
        "from = \"1/12\"",
        "from = \"2/12\"",
        "1.1.0",
        &["Fact `pitch`: the least believable value was 1/12, now 2/12."],
    ),
    edit(
        "to = \"130 degF\"",
        "",
        "1.1.0",
        &["Fact `air_temperature`: the greatest believable value was 130 degF, now none."],
    ),
    edit(
        "ask = \"What is the air temperature?\"",
        "ask = \"How warm is it?\"",
        "1.0.1",
        &[
            "Fact `air_temperature`: the question was “What is the air temperature?”, now “How warm is it?”",
        ],
    ),
    edit(
        "options = [\"rake\", \"hip\", \"valley\"]",
        "options = [\"rake\", \"hip\", \"valley\", \"wall\"]",
        "1.1.0",
        &["Fact `run.reference` can now be answered “wall” too."],
    ),
    edit(
        "options = [\"rake\", \"hip\", \"valley\"]",
        "options = [\"hip\", \"rake\", \"valley\"]",
        "1.0.1",
        &[
            "Fact `run.reference`: the order of the options was “rake”, “hip”, “valley”, now “hip”, “rake”, “valley”.",
        ],
    ),
    edit(
        "[profile.piece_length]",
        "[facts.wind]\nkind = \"speed\"\nask = \"How strong is the wind?\"\n[profile.piece_length]",
        "1.1.0",
        &["Fact `wind` is new: “How strong is the wind?”"],
    ),
    edit(
        "[each.run.facts.available]",
        "[each.run.facts.side]\nkind = \"text\"\nask = \"Which side?\"\n[each.run.facts.available]",
        "1.1.0",
        &["Fact `run.side` is new: “Which side?”"],
    ),
    edit(
        "[profile.piece_length]",
        "[profile.bend]\nkind = \"length\"\nask = \"How far may it bend?\"\n[profile.piece_length]",
        "1.1.0",
        &["Figure `bend` is new, the product profile has to give it: “How far may it bend?”"],
    ),
    edit(
        "to = \"14 in\"",
        "to = \"16 in\"",
        "1.1.0",
        &["Figure `slot_high`: the greatest believable value was 1'-2\", now 1'-4\"."],
    ),
    edit(
        "{ measure = \"nail_line\", tolerance = \"1/16 in\" }",
        "{ measure = \"nail_line\", tolerance = \"1/8 in\" }",
        "2.0.0",
        &["Step \"Nail line\": the tolerance was 1/16 in, now 1/8 in."],
    ),
    edit(
        "{ measure = \"nail_line\", tolerance = \"1/16 in\" }",
        "{ measure = \"slot_low\", tolerance = \"1/16 in\" }",
        "2.0.0",
        &["Step \"Nail line\": the measure it is compared with was `nail_line`, now `slot_low`."],
    ),
    edit(
        "{ count = \"run.nails\" }",
        "{ count = true }",
        "2.0.0",
        &["Step \"Fasten\": the least number was `run.nails`, now none."],
    ),
    edit(
        "say = \"Snap the upper edge {slot_high} up",
        "say = \"Snap the upper edge {slot_low} up",
        "2.0.0",
        &[
            "Step \"Upper edge of the slot\": the sentence was “Snap the upper edge {slot_high} up from the butt edge. Read me the mark.”, now “Snap the upper edge {slot_low} up from the butt edge. Read me the mark.”",
        ],
    ),
    // Steps.
    edit(
        "[[step]]\nid = \"read-nail-line\"",
        "[[step]]\nid = \"brush\"\ntitle = \"Brush\"\nsay = \"Brush it off.\"\n\n[[step]]\nid = \"read-nail-line\"",
        "1.1.0",
        &["Step \"Brush\" is new, after \"Middle of a shingle\"."],
    ),
    edit(
        "[[step]]\nid = \"instructions\"",
        "[[step]]\nid = \"gate\"\ntitle = \"Gate\"\nsay = \"All here?\"\npoint = { kind = \"hold\", role = \"foreman\" }\n\n[[step]]\nid = \"instructions\"",
        "1.1.0",
        &["Step \"Gate\" is new, first, with a hold point for the foreman."],
    ),
    edit(
        "[[step]]\nid = \"hand-seal\"\ntitle = \"Seal by hand\"\nsay = \"Every seal that was lifted or broken: sealed by hand, as the shingle maker's instructions say, in any weather.\"\nwhy = \"A seal that was broken does not hold again by itself, warm or cold.\"\ntags = [\"waterproofing\", \"closing\"]\n",
        "",
        "2.0.0",
        &["Step \"Seal by hand\" is left out."],
    ),
    edit(
        "[[step]]\nid = \"too-little-in-all\"\ntitle = \"Too little in all\"\nsay = \"Intake and exhaust together give {vent_delivered} of {vent_area_needed}. The foreman decides.\"\nwhy = \"Each share may be enough while the whole is less than the code asks.\"\nonly_if = \"not vent_enough\"\npoint = { kind = \"hold\", role = \"foreman\" }\ntags = [\"layout\"]\n",
        "",
        "2.0.0",
        &["Step \"Too little in all\" is left out, and with it its hold point for the foreman."],
    ),
    edit(
        "say = \"Offcuts, nails and granules off the roof, out of the gutter and off the ground.\"",
        "say = \"Roof, gutter and ground clean.\"",
        "1.0.1",
        &[
            "Step \"Clean up\": the sentence was “Offcuts, nails and granules off the roof, out of the gutter and off the ground.”, now “Roof, gutter and ground clean.”",
        ],
    ),
    edit(
        "\"some too high\"], wanted = [\"all flush\"]",
        "\"some too high\"], wanted = [\"all flush\", \"some too high\"]",
        "2.0.0",
        &["Step \"Nails flush\": the answer “some too high” is now wanted too."],
    ),
    edit(
        "choice = [\"all flush\", \"some too deep\", \"some too high\"]",
        "choice = [\"all flush\", \"some too deep\"]",
        "2.0.0",
        &["Step \"Nails flush\" can no longer be answered “some too high”."],
    ),
    edit(
        "answer = { count = \"pieces\" }",
        "answer = \"note\"",
        "2.0.0",
        &["Step \"Pieces used\": the answer was “a count, at least pieces”, now “words”."],
    ),
    edit(
        "only_if = \"not exhaust_enough\"",
        "only_if = \"not vent_enough\"",
        "2.0.0",
        &[
            "Step \"Too little exhaust\" was asked only if `not exhaust_enough`, now only if `not vent_enough`.",
        ],
    ),
    edit(
        "only_if = \"not exhaust_enough\"\n",
        "",
        "2.0.0",
        &["Step \"Too little exhaust\" was asked only if `not exhaust_enough`, now always."],
    ),
    edit(
        "id = \"hand-seal-cold\"",
        "id = \"hand-seal-cold\"\neach = \"run\"",
        "2.0.0",
        &["Step \"Seal by hand in the cold\" was done once, now for each `run`."],
    ),
    edit(
        "photo = 1\ntags = [\"cutting\"]\nleast = \"PT2M\"",
        "photo = 3\ntags = [\"cutting\"]\nleast = \"PT2M\"",
        "1.1.0",
        &["Step \"Cut the slot\": the number of photos was 1, now 3."],
    ),
    edit(
        "tags = [\"cutting\"]\nleast = \"PT2M\"",
        "tags = [\"cutting\"]\nleast = \"PT90S\"",
        "1.1.0",
        &["Step \"Cut the slot\": the least time was 2 min, now 90 s."],
    ),
    edit(
        "why = \"A cut cannot be taken back.\"",
        "why = \"A cut stays.\"",
        "1.0.1",
        &[
            "Step \"Cut the slot\": the reason was “A cut cannot be taken back.”, now “A cut stays.”",
        ],
    ),
    edit(
        "title = \"Cut the slot\"",
        "title = \"Cut\"",
        "1.0.1",
        &["Step \"Cut\": the title was “Cut the slot”, now “Cut”."],
    ),
    edit(
        "tags = [\"cutting\"]\nleast = \"PT2M\"",
        "tags = [\"cutting\", \"saw\"]\nleast = \"PT2M\"",
        "1.0.1",
        &["Step \"Cut the slot\" is now found by `saw` too."],
    ),
    // Rows.
    edit(
        "title = \"Run\"",
        "title = \"Stretch\"",
        "1.0.1",
        &["Table of rows `run` (Stretch): the name of one row was “Run”, now “Stretch”."],
    ),
    edit(
        "# --- before anything is cut",
        "[each.bay]\nrows = \"run_count\"\ntitle = \"Bay\"\n# --- before anything is cut",
        "1.1.0",
        &["Table of rows `bay` (Bay) is new."],
    ),
    // Follow-ups.
    edit(
        "# --- before anything is cut",
        "[[follow_up]]\nid = \"rain\"\nafter = \"P7D\"\ntitle = \"Look\"\n# --- before anything is cut",
        "1.1.0",
        &["Follow-up \"Look\" is new."],
    ),
];
