//! Hearing checks and clips as JSON and back: the inner part of `entry_json`.

use super::Json;
use super::entry::Heard;
use super::entry_json::{Fields, NotAnEntry};
use super::hearing::{
    AnswerKind, Because, Clip, HearingCheck, Margins, PhraseRead, ReadAs, Trust, Verdict,
};

pub(super) fn heard(heard: &Heard) -> Json {
    Json::object([
        ("words", Json::text(&heard.words)),
        ("b_milli", Json::Number(heard.b_milli.into())),
        ("a_milli", Json::Number(heard.a_milli.into())),
        ("m_milli", Json::Number(heard.m_milli.into())),
        ("sound_sha256", Json::text(heard.sound)),
    ])
}

pub(super) fn clip(clip: &Clip) -> Json {
    Json::object([
        ("sha256", Json::text(clip.sound)),
        ("length_ms", Json::Number(clip.length_ms.into())),
    ])
}

pub(super) fn check(check: &HearingCheck) -> Json {
    Json::object([
        ("source", Json::text(&check.source)),
        ("noise_tenth_dbfs", Json::Number(check.noise_tenth_dbfs.into())),
        ("speech_tenth_dbfs", Json::Number(check.speech_tenth_dbfs.into())),
        ("phrases", Json::List(check.phrases.iter().map(phrase).collect())),
        ("commands", verdict(check.commands)),
        ("numbers", verdict(check.numbers)),
    ])
}

fn phrase(read: &PhraseRead) -> Json {
    Json::object([
        ("asked", Json::text(&read.asked)),
        ("kind", read.kind.word().into()),
        ("read_as", read.read_as.word().into()),
        ("heard", read.heard.as_ref().map_or(Json::Null, heard)),
        ("margins", read.margins.map_or(Json::Null, margins)),
    ])
}

fn margins(margins: Margins) -> Json {
    Json::object([
        ("b_milli", Json::Number(margins.b_milli.into())),
        ("a_milli", Json::Number(margins.a_milli.into())),
        ("m_milli", Json::Number(margins.m_milli.into())),
    ])
}

fn verdict(verdict: Verdict) -> Json {
    Json::object([
        ("trust", verdict.trust.word().into()),
        ("because", verdict.because.word().into()),
    ])
}

impl Fields<'_> {
    pub(super) fn clip(&self) -> Result<Clip, NotAnEntry> {
        Ok(Clip { sound: self.parsed("sha256")?, length_ms: self.whole("length_ms")? })
    }

    pub(super) fn check(&self) -> Result<HearingCheck, NotAnEntry> {
        Ok(HearingCheck {
            source: self.text("source")?,
            noise_tenth_dbfs: self.whole("noise_tenth_dbfs")?,
            speech_tenth_dbfs: self.whole("speech_tenth_dbfs")?,
            phrases: self.each("phrases", |read| read.phrase())?,
            commands: self.inner("commands")?.verdict()?,
            numbers: self.inner("numbers")?.verdict()?,
        })
    }

    fn phrase(&self) -> Result<PhraseRead, NotAnEntry> {
        let kinds = [AnswerKind::Commands, AnswerKind::Numbers];
        let is_there = |field: &str| self.json.get(field).is_some();
        let margins = is_there("margins").then(|| self.inner("margins")?.margins());
        let heard = is_there("heard").then(|| self.inner("heard")?.heard());
        Ok(PhraseRead {
            asked: self.text("asked")?,
            kind: self.one_of("kind", &kinds, AnswerKind::word)?,
            read_as: self.one_of("read_as", &ReadAs::ALL, ReadAs::word)?,
            heard: heard.transpose()?,
            margins: margins.transpose()?,
        })
    }

    fn margins(&self) -> Result<Margins, NotAnEntry> {
        Ok(Margins {
            b_milli: self.whole("b_milli")?,
            a_milli: self.whole("a_milli")?,
            m_milli: self.whole("m_milli")?,
        })
    }

    fn verdict(&self) -> Result<Verdict, NotAnEntry> {
        Ok(Verdict {
            trust: self.one_of("trust", &Trust::ALL, Trust::word)?,
            because: self.one_of("because", &Because::ALL, Because::word)?,
        })
    }
}
