//! A crew at a keyboard. Reading has a thread of its own, so that a hold point
//! released elsewhere is seen while nobody types.

use std::io::{self, BufRead};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::time::Duration;

use super::sound::Screen;
use crate::daemon::{Crew, Input};
use crate::domain::Meaning;
use crate::domain::walk::{Expect, ExpectAnswer, Prompt};
use crate::speech::phrases_for;

/// How long to wait before looking whether others have logged.
const LOOK_AGAIN: Duration = Duration::from_millis(500);

/// What can be typed for each command, beside the spoken phrases.
const KEYS: [(&str, Meaning); 18] = [
    ("done", Meaning::StepDone),
    ("d", Meaning::StepDone),
    ("yes", Meaning::Yes),
    ("y", Meaning::Yes),
    ("no", Meaning::No),
    ("n", Meaning::No),
    ("repeat", Meaning::Repeat),
    ("back", Meaning::Back),
    ("pause", Meaning::Pause),
    ("resume", Meaning::Resume),
    ("where", Meaning::WhereAreWe),
    ("caution", Meaning::ReadCaution),
    ("reason", Meaning::ReadReason),
    ("note", Meaning::TakeNote),
    ("photo", Meaning::PhotoTaken),
    ("wrong", Meaning::WasWrong),
    ("skip", Meaning::Skip),
    ("again", Meaning::MeasureAgain),
];

const HELP: &str = "\
Type a value (4 1/2, 5'-0 3/8\", 6/12, a word offered), or one of these:
  done  yes  no  repeat  back  skip  pause  resume  where  caution  reason
  note  photo  wrong (corrects the last entry)  again (measure again)
  log it as it is (off target)
An empty line is never an answer; it says the question again. Where words of
your own are asked for, put / before a command: /repeat
End of input (Ctrl-D) leaves; what was logged stays.";

#[derive(Debug)]
pub(super) struct KeysCrew<'a> {
    screen: Screen<'a>,
    lines: Receiver<io::Result<String>>,
    asked: bool,
}

impl<'a> KeysCrew<'a> {
    pub(super) fn new(screen: Screen<'a>) -> Self {
        let (typed, lines) = sync_channel(16);
        std::thread::spawn(move || {
            for line in io::stdin().lock().lines() {
                // The walk is over: nobody reads any more.
                if typed.send(line).is_err() {
                    return;
                }
            }
        });
        Self { screen, lines, asked: false }
    }

    fn meaning(&mut self, line: &str, expect: &Expect) -> io::Result<Option<Meaning>> {
        let typed = line.trim();
        let (slash, word) = match typed.strip_prefix('/') {
            Some(word) => (true, word.trim()),
            None => (false, typed),
        };
        let lower = word.to_lowercase();
        if lower == "help" || lower == "?" {
            self.screen.out.line(HELP)?;
            return Ok(None);
        }
        if expect.answer == ExpectAnswer::Words && !slash {
            return Ok(Some(Meaning::Words(typed.to_owned())));
        }
        if word.is_empty() {
            return Ok(Some(Meaning::Repeat));
        }
        if let ExpectAnswer::Choice(options) = &expect.answer
            && let Some(at) = options.iter().position(|option| option.to_lowercase() == lower)
        {
            return Ok(Some(Meaning::Choice(at)));
        }
        let keys = KEYS.iter().find(|(key, _)| *key == lower).map(|(_, meaning)| meaning.clone());
        let all = KEYS.iter().map(|(_, meaning)| meaning.clone()).chain([Meaning::LogAsIs]);
        let spoken = all.into_iter().find(|m| phrases_for(m).contains(&lower.as_str()));
        Ok(Some(keys.or(spoken).unwrap_or_else(|| Meaning::Words(word.to_owned()))))
    }
}

impl Crew for KeysCrew<'_> {
    type Error = io::Error;

    fn say(&mut self, prompt: &Prompt) -> io::Result<()> {
        self.asked = false;
        self.screen.say(prompt)
    }

    fn listen(&mut self, expect: &Expect) -> io::Result<Input> {
        if !self.asked {
            self.screen.offer(expect)?;
            self.screen.out.ask("> ")?;
            self.asked = true;
        }
        match self.lines.recv_timeout(LOOK_AGAIN) {
            Ok(line) => {
                self.asked = false;
                let meaning = self.meaning(&line?, expect)?;
                Ok(match meaning {
                    Some(meaning) => Input::Said { meaning, heard: None },
                    None => Input::Nothing,
                })
            }
            Err(RecvTimeoutError::Timeout) => Ok(Input::Nothing),
            Err(RecvTimeoutError::Disconnected) => {
                self.screen.out.line("")?;
                Ok(Input::Gone)
            }
        }
    }
}
