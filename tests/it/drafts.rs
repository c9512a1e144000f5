//! Entries for tests: plain ones by hand, and a strategy for every kind of
//! thing an entry can say.

use chalkhand::domain::{
    AnswerKind, At, Because, Call, Clip, DeviationKind, Draft, FactName, Finding, Given, Hash,
    Heard, HearingCheck, How, Job, Json, Keeps, Key, Margins, Media, NamedStep, Person, Photo,
    PhraseRead, Pin, PinKind, Placed, PointKind, ReadAs, Role, Roles, RowRef, StepRef, Target,
    Trust, Units, Verdict, Version, WalkId, Warranty, What,
};
use chalkhand::measure::{Dimension, Quantity, Ratio, Value};
use jiff::Timestamp;
use jiff::tz::{Offset, TimeZone};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;

/// A note on a job, told apart by its key.
pub(crate) fn note(job: &str, key: &str) -> Draft {
    let text = format!("note {key}");
    draft(job, key, What::Noted { step: None, text, clip: None })
}

/// An entry by keys at a fixed time.
pub(crate) fn draft(job: &str, key: &str, what: What) -> Draft {
    Draft {
        job: job.to_owned(),
        walk: None,
        at: "2026-11-25T08:15:09.042-05:00".parse().unwrap(),
        by: "Installer One".to_owned(),
        how: How::Keys,
        confirmed: Vec::new(),
        what,
        corrects: None,
        key: Key(key.to_owned()),
    }
}

/// An invented job.
pub(crate) fn job(number: &str) -> Job {
    Job {
        number: number.to_owned(),
        address: "12 Example Street, Sampletown".to_owned(),
        owner: "Pat Example".to_owned(),
        phone: "555-0100".to_owned(),
        time_zone: "America/New_York".to_owned(),
        code_edition: "invented".to_owned(),
        company: "Example Roofing".to_owned(),
        invented: true,
        units: Units::Us,
        people: vec![Person {
            name: "Installer One".to_owned(),
            role: "installer".to_owned(),
            language: None,
        }],
        pins: Vec::new(),
    }
}

/// Any entry this program can make: free text is any text, identifiers are as
/// files allow them, times are whole milliseconds with an offset in minutes.
pub(crate) fn any_draft() -> impl Strategy<Value = Draft> {
    let who = (any::<String>(), any::<String>(), option::of(walk()));
    let conveyed = (how(), vec(how(), 0..3));
    (who, at(), conveyed, what(), option::of(1_u64..1 << 53), any::<String>()).prop_map(
        |((job, by, walk), at, (how, confirmed), what, corrects, key)| Draft {
            job,
            walk,
            at,
            by,
            how,
            confirmed,
            what,
            corrects,
            key: Key(key),
        },
    )
}

fn walk() -> impl Strategy<Value = WalkId> {
    (identifier(), prop_oneof![3 => Just(1_u32), 1 => 2..=u32::MAX])
        .prop_map(|(checklist, nth)| WalkId { checklist, nth })
}

fn callback() -> impl Strategy<Value = Call> {
    let row = (identifier(), any::<u32>()).prop_map(|(table, row)| RowRef { table, row });
    let phone = option::of(any::<String>());
    let words = (any::<String>(), option::of(any::<String>()), any::<String>(), phone);
    (any::<u32>(), at(), words, vec(row, 0..3)).prop_map(
        |(id, at, (water, edge, caller, phone), rows)| Call {
            id,
            reported: at.date(),
            water,
            rows,
            edge,
            caller,
            phone,
        },
    )
}

fn finding() -> impl Strategy<Value = Finding> {
    let named = (identifier(), step()).prop_map(|(checklist, step)| NamedStep { checklist, step });
    let some = || option::of(any::<String>());
    let words = (any::<String>(), some(), some(), some());
    (any::<u32>(), words, vec(named, 0..3), select(Warranty::ALL.to_vec())).prop_map(
        |(id, (found, cause, done, visit_left_open), steps, warranty)| Finding {
            id,
            found,
            cause,
            done,
            steps,
            warranty,
            visit_left_open,
        },
    )
}

fn identifier() -> impl Strategy<Value = String> {
    "[a-z][a-z0-9-]{0,20}"
}

fn step() -> impl Strategy<Value = StepRef> {
    (identifier(), option::of(any::<u32>())).prop_map(|(id, row)| StepRef { id, row })
}

fn hash() -> impl Strategy<Value = Hash> {
    any::<[u8; 8]>().prop_map(|bytes| Hash::of(&bytes))
}

fn version() -> impl Strategy<Value = Version> {
    any::<(u32, u32, u32)>().prop_map(|(major, minor, patch)| Version { major, minor, patch })
}

fn at() -> impl Strategy<Value = At> {
    // 1970 to 2100; offsets in use lie between -12:00 and +14:00.
    (0_i64..4_102_444_800_000, -720_i32..=840).prop_map(|(ms, offset_min)| {
        let zone = TimeZone::fixed(Offset::from_seconds(offset_min * 60).unwrap());
        At::new(Timestamp::from_millisecond(ms).unwrap(), &zone)
    })
}

fn heard() -> impl Strategy<Value = Heard> {
    let heard = (any::<String>(), any::<(i32, i32, i32)>(), hash());
    heard.prop_map(|(words, (b_milli, a_milli, m_milli), sound)| Heard {
        words,
        b_milli,
        a_milli,
        m_milli,
        sound,
    })
}

fn clip() -> impl Strategy<Value = Clip> {
    (hash(), any::<u32>()).prop_map(|(sound, length_ms)| Clip { sound, length_ms })
}

fn hearing_check() -> impl Strategy<Value = HearingCheck> {
    let verdict = || {
        (select(Trust::ALL.to_vec()), select(Because::ALL.to_vec()))
            .prop_map(|(trust, because)| Verdict { trust, because })
    };
    let margins = any::<(i32, i32, i32)>().prop_map(|(b_milli, a_milli, m_milli)| Margins {
        b_milli,
        a_milli,
        m_milli,
    });
    let kind = select(vec![AnswerKind::Commands, AnswerKind::Numbers]);
    let read_as = select(ReadAs::ALL.to_vec());
    let read = (any::<String>(), kind, read_as, option::of(heard()), option::of(margins));
    let read = read.prop_map(|(asked, kind, read_as, heard, margins)| PhraseRead {
        asked,
        kind,
        read_as,
        heard,
        margins,
    });
    (any::<String>(), any::<(i32, i32)>(), vec(read, 0..4), verdict(), verdict()).prop_map(
        |(source, (noise_tenth_dbfs, speech_tenth_dbfs), phrases, commands, numbers)| {
            HearingCheck { source, noise_tenth_dbfs, speech_tenth_dbfs, phrases, commands, numbers }
        },
    )
}

fn roles() -> impl Strategy<Value = Roles> {
    vec(select(Role::ALL.to_vec()), 1..4).prop_map(|roles| Roles::new(roles).unwrap())
}

fn how() -> impl Strategy<Value = How> {
    prop_oneof![
        heard().prop_map(How::Voice),
        Just(How::Keys),
        Just(How::Touch),
        Just(How::Command),
        Just(How::File),
        Just(How::Program),
        Just(How::Http),
    ]
}

fn quantity() -> impl Strategy<Value = Quantity> {
    let dimension = prop_oneof![
        Just(Dimension::LENGTH),
        Just(Dimension::AREA),
        Just(Dimension::PITCH),
        Just(Dimension::NUMBER),
        Just(Dimension::TEMPERATURE),
        Just(Dimension::TEMPERATURE_DIFFERENCE),
        Just(Dimension::SPEED),
        Just(Dimension::FREE_AREA_PER_LENGTH),
        Just(Dimension::VOLUME),
    ];
    (-1_000_000_i128..1_000_000, 1_i128..1_000, dimension)
        .prop_map(|(n, d, dimension)| Quantity::new(Ratio::new(n, d).unwrap(), dimension))
}

fn value() -> impl Strategy<Value = Value> {
    prop_oneof![
        quantity().prop_map(Value::Quantity),
        any::<bool>().prop_map(Value::YesNo),
        any::<String>().prop_map(Value::Text),
    ]
}

fn fact_name() -> impl Strategy<Value = FactName> {
    ("[a-z][a-z0-9_]{0,9}(\\.[a-z][a-z0-9_]{0,9})?", option::of(any::<u32>()))
        .prop_map(|(name, row)| FactName { name, row })
}

fn given() -> impl Strategy<Value = Given> {
    prop_oneof![
        Just(Given::Done),
        quantity().prop_map(Given::Measured),
        any::<u32>().prop_map(Given::Counted),
        any::<String>().prop_map(Given::Chosen),
        (fact_name(), value()).prop_map(|(name, value)| Given::Fact(name, value)),
        any::<String>().prop_map(Given::Noted),
    ]
}

fn target() -> impl Strategy<Value = Target> {
    prop_oneof![
        (quantity(), quantity()).prop_map(|(mark, tolerance)| Target::Mark(mark, tolerance)),
        any::<u32>().prop_map(Target::AtLeast),
        vec(any::<String>(), 0..4).prop_map(Target::OneOf),
    ]
}

fn kind_of_pin() -> impl Strategy<Value = PinKind> {
    prop_oneof![Just(PinKind::Checklist), Just(PinKind::Profile)]
}

fn any_job() -> impl Strategy<Value = Job> {
    let texts = vec(any::<String>(), 7);
    let language =
        proptest::option::of(proptest::sample::select(chalkhand::domain::Language::ALL.to_vec()));
    let person = (any::<(String, String)>(), language)
        .prop_map(|((name, role), language)| Person { name, role, language });
    let pin = (kind_of_pin(), identifier(), version(), hash())
        .prop_map(|(kind, id, version, hash)| Pin { kind, id, version, hash });
    let units = prop_oneof![Just(Units::Us), Just(Units::Metric)];
    (texts, any::<bool>(), units, vec(person, 0..4), vec(pin, 0..4)).prop_map(
        |(mut texts, invented, units, people, pins)| {
            let mut text = || texts.pop().unwrap();
            Job {
                number: text(),
                address: text(),
                owner: text(),
                phone: text(),
                time_zone: text(),
                code_edition: text(),
                company: text(),
                invented,
                units,
                people,
                pins,
            }
        },
    )
}

fn photo() -> impl Strategy<Value = Photo> {
    let hashes = (hash(), hash(), option::of(hash()));
    let texts = option::of(any::<(String, String)>());
    let size = (0_u64..1 << 53, any::<(u32, u32)>());
    (hashes, texts, size, select(Media::ALL.to_vec())).prop_map(
        |((sha256, preview_sha256, given_sha256), texts, (size_bytes, px), media)| {
            let (taken, caption) = texts.unzip();
            Photo {
                sha256,
                media,
                size_bytes,
                width_px: px.0,
                height_px: px.1,
                preview_sha256,
                taken,
                caption,
                given_sha256,
            }
        },
    )
}

fn what() -> impl Strategy<Value = What> {
    let kind = prop_oneof![Just(PointKind::Hold), Just(PointKind::Witness)];
    prop_oneof![
        any_job().prop_map(What::JobOpened),
        (fact_name(), value()).prop_map(|(name, value)| What::FactGiven(name, value)),
        (version(), hash()).prop_map(|(version, hash)| What::WalkBegun { version, hash }),
        Just(What::Paused),
        Just(What::Resumed),
        Just(What::WalkEnded),
        (step(), any::<String>(), given(), option::of(target()), option::of(any::<String>()))
            .prop_map(|(step, asked, given, target, reason)| What::Answered {
                step,
                asked,
                given,
                target,
                reason,
            }),
        (step(), any::<String>()).prop_map(|(step, reason)| What::Skipped { step, reason }),
        (step(), vec(any::<String>(), 0..4), option::of(any::<bool>()))
            .prop_map(|(step, said, spoken)| What::Cautioned { step, said, spoken }),
        (option::of(step()), any::<String>(), option::of(clip()))
            .prop_map(|(step, text, clip)| What::Noted { step, text, clip }),
        hearing_check().prop_map(|check| What::HearingChecked(Box::new(check))),
        (any::<String>(), select(Keeps::ALL.to_vec()), option::of(1_u64..1 << 53))
            .prop_map(|(source, keeps, check)| What::EarOpened { source, keeps, check }),
        Just(What::EarClosed),
        step().prop_map(|step| What::PhotoTaken { step }),
        (option::of(step()), photo())
            .prop_map(|(step, photo)| What::PhotoKept { step, photo: Box::new(photo) }),
        (step(), kind, any::<String>()).prop_map(|(step, kind, role)| What::PointReached {
            step,
            kind,
            role
        }),
        (step(), any::<String>()).prop_map(|(step, role)| What::Released { step, role }),
        (kind_of_pin(), identifier(), version(), hash())
            .prop_map(|(kind, id, version, hash)| What::Pinned(Pin { kind, id, version, hash })),
        (
            1_u64..1 << 53,
            step(),
            vec(select(DeviationKind::ALL.to_vec()), 0..3),
            any::<String>(),
            any::<String>()
        )
            .prop_map(|(entry, step, kinds, role, reason)| What::Accepted {
                entry,
                step,
                kinds,
                role,
                reason
            }),
        callback().prop_map(|call| What::CallbackOpened(Box::new(call))),
        (any::<u32>(), walk()).prop_map(|(id, visit)| What::CallbackVisited { id, visit }),
        finding().prop_map(|finding| What::CallbackClosed(Box::new(finding))),
        (any::<String>(), at(), any::<String>(), any::<u32>(), option::of((at(), any::<String>())))
            .prop_map(|(uid, start, title, sequence, placed)| What::FollowUpIssued {
                uid,
                start,
                title,
                sequence,
                placed: placed.map(|(planned, why)| Placed { planned, why }),
            }),
        (any::<String>(), at(), any::<String>(), any::<u32>()).prop_map(
            |(uid, start, reason, sequence)| What::FollowUpMoved { uid, start, reason, sequence }
        ),
        (any::<String>(), any::<String>(), any::<u32>())
            .prop_map(|(uid, reason, sequence)| What::FollowUpCancelled { uid, reason, sequence }),
        (
            (any::<String>(), at(), any::<u32>(), any::<String>()),
            option::of(any::<String>()),
            option::of(any::<String>()),
            option::of(any::<u32>()),
        )
            .prop_map(|((uid, start, lasts_min, title), who, checklist, callback)| {
                What::FollowUpAdded { uid, start, lasts_min, title, who, checklist, callback }
            }),
        (any::<String>(), roles()).prop_map(|(name, roles)| What::PersonSet { name, roles }),
        any::<String>().prop_map(|name| What::PersonLeft { name }),
        any::<String>().prop_map(|device| What::SignedIn { device }),
        (any::<String>(), any::<String>())
            .prop_map(|(name, device)| What::SignInEnded { name, device }),
        (any::<String>(), any::<String>())
            .prop_map(|(name, called)| What::KeyMade { name, called }),
        (any::<String>(), any::<String>())
            .prop_map(|(name, called)| What::KeyEnded { name, called }),
    ]
}

/// The tree of a JSON text.
pub(crate) fn json(text: &str) -> Json {
    fn tree(value: serde_json::Value) -> Json {
        use serde_json::Value;
        match value {
            Value::Null => Json::Null,
            Value::Bool(yes) => Json::Bool(yes),
            Value::Number(n) => Json::Number(n.as_f64().unwrap()),
            Value::String(text) => Json::from(text),
            Value::Array(items) => Json::List(items.into_iter().map(tree).collect()),
            Value::Object(members) => {
                Json::Object(members.into_iter().map(|(key, value)| (key, tree(value))).collect())
            }
        }
    }
    tree(serde_json::from_str(text).unwrap())
}
