//! A crew at a keyboard. Reading has a thread of its own, so that a hold point
//! released elsewhere is seen while nobody types.

use std::io::{self, BufRead};
use std::sync::mpsc::{Receiver, RecvTimeoutError, sync_channel};
use std::time::Duration;

use super::sound::Screen;
use crate::daemon::{Crew, Input};
use crate::domain::walk::{Expect, ExpectAnswer, Prompt};
use crate::domain::{How, Meaning};

/// How long to wait before looking whether others have logged.
const LOOK_AGAIN: Duration = Duration::from_millis(500);

#[derive(Debug)]
pub(super) struct KeysCrew<'a> {
    screen: Screen<'a>,
    lines: Receiver<io::Result<String>>,
    asked: bool,
    /// The role that a hold point waits for.
    held: Option<String>,
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
        Self { screen, lines, asked: false, held: None }
    }

    fn meaning(&mut self, line: &str, expect: &Expect) -> io::Result<Option<Meaning>> {
        let typed = line.trim();
        let (slash, word) = match typed.strip_prefix('/') {
            Some(word) => (true, word.trim()),
            None => (false, typed),
        };
        let lower = word.to_lowercase();
        if lower == "help" || lower == "?" {
            let help = self.screen.wording.help();
            self.screen.out.line(help)?;
            return Ok(None);
        }
        if expect.answer == ExpectAnswer::Words && !slash {
            return Ok(Some(Meaning::Words(typed.to_owned())));
        }
        if word.is_empty() {
            return Ok(Some(Meaning::Repeat));
        }
        if let ExpectAnswer::Choice(options) = &expect.answer
            && let Some(at) = options.iter().position(|option| {
                let said = self.screen.wording.choice(option);
                said.to_lowercase() == lower || option.to_lowercase() == lower
            })
        {
            return Ok(Some(Meaning::Choice(at)));
        }
        let wording = &self.screen.wording;
        let is_typed = |m: &&Meaning| {
            let mut typed = wording.keys(m).into_iter().chain(wording.phrases(m));
            typed.any(|typed| typed == lower)
        };
        let command = Meaning::COMMANDS.iter().find(is_typed).cloned();
        Ok(Some(command.unwrap_or_else(|| Meaning::Words(word.to_owned()))))
    }
}

impl Crew for KeysCrew<'_> {
    type Error = io::Error;

    fn say(&mut self, prompt: &Prompt) -> io::Result<()> {
        self.asked = false;
        match prompt {
            Prompt::Held { role, .. } => self.held = Some(role.clone()),
            Prompt::Released { .. } | Prompt::Step { .. } => self.held = None,
            _ => {}
        }
        self.screen.say(prompt)
    }

    fn has_spoken(&self) -> bool {
        self.screen.has_spoken()
    }

    fn listen(&mut self, expect: &Expect) -> io::Result<Input> {
        if !self.asked {
            self.screen.offer(expect, self.held.as_deref())?;
            self.screen.out.ask("> ")?;
            self.asked = true;
        }
        match self.lines.recv_timeout(LOOK_AGAIN) {
            Ok(line) => {
                self.asked = false;
                let meaning = self.meaning(&line?, expect)?;
                Ok(match meaning {
                    Some(meaning) => Input::Said { meaning, how: How::Keys },
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
