//! A walk at a live microphone: opening it, what is said of what happens to it,
//! and leaving with Ctrl-C.

use anyhow::Context;

use super::super::out::Out;
use crate::voice::{Leave, MicEvent, Microphone};

/// Opens the microphone and says which one it is.
pub(in crate::cli) fn microphone(
    wanted: Option<&str>,
    leave: Leave,
    out: &mut Out,
) -> anyhow::Result<Microphone> {
    let microphone = Microphone::open(wanted, leave)?;
    let opened = microphone.opened();
    tracing::info!(?opened, "microphone");
    out.line(&format!("(hears {} at {} Hz; Ctrl-C leaves)", opened.name, opened.rate_hz))?;
    Ok(microphone)
}

/// Makes Ctrl-C, and a polite request to end, a wish to leave: the sentence being
/// spoken stops, the walk is left open and what was logged stays.
pub(in crate::cli) fn leave_on_interrupt(leave: &Leave) -> anyhow::Result<()> {
    use tokio::signal::unix::{SignalKind, signal};
    let leave = leave.clone();
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .context("nothing can wait for Ctrl-C")?;
    let (mut interrupt, mut terminate) = {
        let _inside = runtime.enter();
        (signal(SignalKind::interrupt())?, signal(SignalKind::terminate())?)
    };
    // It ends with the program.
    std::thread::spawn(move || {
        runtime.block_on(async {
            tokio::select! {
                _ = interrupt.recv() => {}
                _ = terminate.recv() => {}
            }
        });
        leave.ask();
    });
    Ok(())
}

/// What the screen says of it.
pub(super) fn shown(event: &MicEvent) -> String {
    match event {
        MicEvent::Lost { why } => {
            format!("the microphone is gone: {why}; it is tried again until it is back")
        }
        MicEvent::Back { opened, away_ms } => {
            format!("{} is back after {} s", opened.name, away_ms.div_ceil(1_000))
        }
        MicEvent::Clipping { permille } => format!(
            "the microphone is set too loud: {}.{} % of the sound is cut off; turn it down",
            permille / 10,
            permille % 10
        ),
        MicEvent::Dropped { ms } => {
            format!("{ms} ms of sound were lost: this machine is too busy")
        }
    }
}

/// What is said aloud of it. Where the headset is gone with its loudspeaker
/// nobody hears the first; both are one short sentence.
pub(super) fn spoken(event: &MicEvent) -> Option<&'static str> {
    match event {
        MicEvent::Lost { .. } => Some("I cannot hear you."),
        MicEvent::Back { .. } => Some("I hear you again."),
        MicEvent::Clipping { .. } | MicEvent::Dropped { .. } => None,
    }
}
