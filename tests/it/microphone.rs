//! The microphone without a device: the queue, the levels, the link that comes
//! back, any rate and format to 16 kHz; and the names of devices.

use std::collections::VecDeque;
use std::io::Cursor;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use chalkhand::sound::{FRAME, FileFrames};
use chalkhand::voice::{
    BLOCK, DeviceName, Ends, FrameSource, Leave, Link, Meter, MicEvent, Microphone, Missing, Next,
    Opened, Opener, Reading, Seen, VoiceError, meant, queue,
};

const NOW: Duration = Duration::ZERO;

#[test]
fn a_full_queue_is_never_waited_for_and_what_is_lost_is_counted() {
    let (inlets, outlet) = queue(2);
    let mut inlet = inlets.inlet(16_000, 1);
    inlet.hear(&[0.1_f32; 10 * BLOCK]);
    assert_eq!(inlets.heard(), 1);
    // Eight blocks of 256 samples at 16 kHz.
    assert_eq!(outlet.dropped_ms(), 128);
    assert_eq!(outlet.dropped_ms(), 0, "counted once");
    let first = outlet.block(NOW).unwrap();
    assert!(!first.after_gap && first.samples().len() == BLOCK);
    assert!(!outlet.block(NOW).unwrap().after_gap);
    assert!(outlet.block(NOW).is_err());
    inlet.hear(&[0.1_f32; 10]);
    let after = outlet.block(NOW).unwrap();
    assert!(after.after_gap, "what was lost is missing before this one");
    assert_eq!(after.samples().len(), 10);
    inlet.hear(&[0.1_f32; 10]);
    assert!(!outlet.block(NOW).unwrap().after_gap);
}

#[test]
fn what_is_heard_while_we_speak_is_neither_kept_nor_counted_as_lost() {
    let (inlets, outlet) = queue(8);
    let mut inlet = inlets.inlet(16_000, 1);
    inlet.hear(&[0.1_f32; 10]);
    outlet.pause();
    inlet.hear(&[0.2_f32; 100 * BLOCK]);
    assert_eq!(inlets.heard(), 2, "a paused stream is alive");
    outlet.resume();
    assert!(outlet.block(NOW).is_err(), "nothing from before");
    assert_eq!(outlet.dropped_ms(), 0);
    inlet.hear(&[0.3_f32; 10]);
    let block = outlet.block(NOW).unwrap();
    assert!(block.after_gap);
    assert!((block.samples()[0] - 0.3).abs() < 1e-6);
}

#[test]
fn channels_are_averaged_and_strange_samples_are_harmless() {
    let (inlets, outlet) = queue(8);
    inlets.inlet(48_000, 2).hear(&[16_384_i16, 0, -32_768, 32_767]);
    let block = outlet.block(NOW).unwrap();
    assert!((block.samples()[0] - 0.25).abs() < 1e-4);
    assert!(block.samples()[1].abs() < 1e-4);
    assert_eq!((block.full_scale, block.channels, block.rate_hz), (2, 2, 48_000));
    inlets.inlet(48_000, 1).hear(&[f32::NAN, f32::INFINITY, 7.0, -7.0]);
    assert_eq!(outlet.block(NOW).unwrap().samples(), [0.0, 0.0, 1.0, -1.0]);
    inlets.inlet(48_000, 1).hear(&[128_u8, 255]);
    let block = outlet.block(NOW).unwrap();
    assert!(block.samples()[0].abs() < 1e-6 && 0.99 < block.samples()[1]);
    inlets.inlet(48_000, 0).hear(&[0.5_f32]);
    assert_eq!(outlet.block(NOW).unwrap().samples(), [0.5]);
}

/// Levels by hand: a square wave at half of full scale is 6.02 dB below it.
#[test]
fn levels_and_clipping_are_measured_once_a_second() {
    let (inlets, outlet) = queue(1_000);
    let mut meter = Meter::default();
    let mut read = |samples: &[f32], channels: u16| -> Vec<Reading> {
        inlets.inlet(8_000, channels).hear(samples);
        let mut readings = Vec::new();
        while let Ok(block) = outlet.block(NOW) {
            readings.extend(meter.push(&block));
        }
        readings
    };
    let square: Vec<f32> = (0..16_384).map(|n| if n % 2 == 0 { 0.5 } else { -0.5 }).collect();
    let readings = read(&square, 1);
    assert_eq!(readings.len(), 2);
    assert!((readings[0].level_dbfs + 6.02).abs() < 0.01, "{readings:?}");
    assert_eq!(readings[0].clipped_permille, 0);
    // One of the two channels is always at full scale.
    let clipped: Vec<f32> = (0..16_384).map(|n| if n % 2 == 0 { 1.0 } else { 0.1 }).collect();
    assert_eq!(read(&clipped, 2)[0].clipped_permille, 500);
    let silence = read(&[0.0; 16_384], 1);
    assert!(silence.last().unwrap().level_dbfs <= -90.0, "{silence:?}");
}

fn s(seconds: f64) -> Duration {
    Duration::from_secs_f64(seconds)
}

#[test]
fn a_link_that_is_lost_is_tried_again_with_growing_pauses_until_it_is_back() {
    let mut link = Link::default();
    assert_eq!(link.next(s(0.0)), Next::Open(0));
    link.opened(s(0.1), 7);
    assert!(matches!(link.next(s(0.2)), Next::Wait(_)));
    assert_eq!(link.heard(s(0.2), 7), Seen::Nothing, "nothing new was heard");
    assert_eq!(link.heard(s(0.3), 8), Seen::Live { away: None });
    assert_eq!(link.heard(s(1.0), 90), Seen::Nothing);
    assert!(matches!(link.next(s(2.9)), Next::Wait(_)));
    assert_eq!(link.next(s(3.0)), Next::Close, "two seconds without a callback");
    assert!(link.lost(s(3.0)), "it was live");
    let mut now = 3.0;
    let mut pauses = Vec::new();
    for tried in 0..8 {
        let Next::Wait(pause) = link.next(s(now)) else { panic!("{tried}") };
        pauses.push(pause.as_millis());
        now += pause.as_secs_f64();
        assert_eq!(link.next(s(now)), Next::Open(tried));
        assert!(!link.lost(s(now)), "it was not live");
    }
    assert_eq!(pauses, [250, 500, 1_000, 2_000, 4_000, 5_000, 5_000, 5_000]);
    now += 5.0;
    assert_eq!(link.next(s(now)), Next::Open(8));
    link.opened(s(now), 90);
    assert_eq!(link.next(s(now + 3.0)), Next::Close, "open, and silent for three seconds");
    assert!(!link.lost(s(now + 3.0)));
    link.opened(s(now + 8.0), 90);
    let Seen::Live { away: Some(away) } = link.heard(s(now + 8.1), 91) else { panic!() };
    assert!((away.as_secs_f64() - (now + 8.1 - 3.0)).abs() < 1e-6, "{away:?}");
    // The next outage begins with the shortest pause again.
    assert!(link.lost(s(now + 9.0)));
    assert_eq!(link.next(s(now + 9.0)), Next::Wait(Duration::from_millis(250)));
}

/// A machine that slept: hours have passed, and no callback came.
#[test]
fn hours_of_sleep_are_a_gap_and_no_crash() {
    let mut link = Link::default();
    link.opened(s(0.0), 0);
    assert_eq!(link.heard(s(0.1), 1), Seen::Live { away: None });
    let woken = 9.0 * 3_600.0;
    // The device goes on by itself: nothing happens.
    assert_eq!(link.clone().heard(s(woken), 2), Seen::Nothing);
    // It does not: it is opened anew.
    assert_eq!(link.next(s(woken)), Next::Close);
    assert!(link.lost(s(woken)));
    assert_eq!(link.next(s(woken + 0.25)), Next::Open(0));
}

/// What one stream of a made-up device does.
#[derive(Clone)]
enum Plan {
    Refuse,
    /// Opens and gives nothing.
    Silent,
    /// Gives these samples, interleaved, and then nothing; says so at the end.
    Floats(u32, u16, Vec<f32>, bool),
    Words(u32, u16, Vec<i16>),
}

/// Opens one plan after another, the last one again and again.
struct Made {
    plans: VecDeque<Plan>,
    opened: Arc<Mutex<u32>>,
}

fn made<const N: usize>(plans: [Plan; N]) -> (Made, Arc<Mutex<u32>>) {
    let opened = Arc::new(Mutex::new(0));
    (Made { plans: plans.into(), opened: Arc::clone(&opened) }, opened)
}

impl Opener for Made {
    type Stream = ();

    fn open(&mut self, _: u32, ends: Ends) -> Result<((), Opened), VoiceError> {
        *self.opened.lock().unwrap() += 1;
        let plan = match self.plans.len() {
            1 => self.plans[0].clone(),
            _ => self.plans.pop_front().unwrap(),
        };
        let opened = |rate_hz, channels| Opened { name: "made up".to_owned(), rate_hz, channels };
        match plan {
            Plan::Refuse => {
                Err(VoiceError::Device { name: "made up".into(), why: "refused".into() })
            }
            Plan::Silent => Ok(((), opened(16_000, 1))),
            Plan::Floats(rate_hz, channels, samples, breaks) => {
                let mut inlet = ends.inlet(rate_hz, channels);
                std::thread::spawn(move || {
                    inlet.hear(&samples);
                    if breaks {
                        std::thread::sleep(Duration::from_millis(600));
                        ends.lost("unplugged".to_owned());
                    }
                });
                Ok(((), opened(rate_hz, channels)))
            }
            Plan::Words(rate_hz, channels, samples) => {
                let mut inlet = ends.inlet(rate_hz, channels);
                std::thread::spawn(move || inlet.hear(&samples));
                Ok(((), opened(rate_hz, channels)))
            }
        }
    }
}

/// Two tones on two channels, interleaved.
fn tones(rate_hz: u32) -> Vec<f32> {
    let rate = rate_hz as f32;
    (0..rate_hz)
        .flat_map(|n| {
            let at = n as f32 / rate;
            [0.4 * (2_000.0 * at).sin(), 0.3 * (5_000.0 * at).cos()]
        })
        .collect()
}

/// Outside check: the same sound as a WAV written by hound, through the path of
/// recordings.
#[test]
fn any_rate_and_format_becomes_the_frames_a_recording_gives() {
    for rate_hz in [44_100, 48_000, 16_000, 22_050] {
        let floats = tones(rate_hz);
        #[expect(clippy::cast_possible_truncation, reason = "in range by its making")]
        let words: Vec<i16> = floats.iter().map(|sample| (sample * 32_767.0) as i16).collect();
        let spec = hound::WavSpec {
            channels: 2,
            sample_rate: rate_hz,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut bytes = Cursor::new(Vec::new());
        let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
        words.iter().for_each(|word| writer.write_sample(*word).unwrap());
        writer.finalize().unwrap();
        let bytes = bytes.into_inner();
        for plan in [Plan::Words(rate_hz, 2, words), Plan::Floats(rate_hz, 2, floats, false)] {
            let mut file = FileFrames::new(bytes.as_slice()).unwrap();
            let mut microphone = Microphone::with(made([plan]).0, Leave::default()).unwrap();
            assert_eq!(microphone.opened().rate_hz, rate_hz);
            for number in 0..45 {
                let heard = microphone.next_frame().unwrap().unwrap();
                assert_eq!(microphone.missing() == Missing::Before, number == 0, "{number}");
                let wanted = file.next_frame().unwrap().unwrap();
                let far = heard.iter().zip(&wanted).map(|(a, b)| (a - b).abs());
                // The floats were not rounded to 16 bits.
                assert!(far.fold(0.0, f32::max) < 2e-4, "{rate_hz} Hz, frame {number}");
            }
        }
    }
}

#[test]
fn a_device_that_drops_is_opened_again_and_the_gap_is_told() {
    let sound = |breaks| Plan::Floats(16_000, 1, vec![0.25; 10 * FRAME], breaks);
    let other = Plan::Floats(48_000, 2, vec![0.25; 200 * FRAME], false);
    let (opener, opened) = made([sound(true), Plan::Refuse, other, Plan::Silent]);
    let mut microphone = Microphone::with(opener, Leave::default()).unwrap();
    let news = microphone.news().unwrap();
    assert!(microphone.news().is_none(), "given out once");
    let (mut before, mut nothing, mut frames) = (0, 0, 0);
    let mut told = Vec::new();
    while told.len() < 2 || before < 2 {
        let frame = microphone.next_frame().unwrap().unwrap();
        match microphone.missing() {
            Missing::Before => before += 1,
            Missing::All => nothing += 1,
            Missing::Nothing => {}
        }
        frames += 1;
        assert!(frames < 2_000, "{told:?}");
        assert!(frame.iter().all(|sample| sample.abs() < 0.5));
        told.extend(news.try_iter());
    }
    assert!(0 < nothing, "time passes while it is away");
    assert!(matches!(&told[0], MicEvent::Lost { why } if why == "unplugged"), "{told:?}");
    let MicEvent::Back { opened: back, away_ms } = &told[1] else { panic!("{told:?}") };
    assert_eq!((back.rate_hz, back.channels), (48_000, 2));
    assert!(750 <= *away_ms, "two pauses: {away_ms}");
    assert_eq!(*opened.lock().unwrap(), 3);
    drop(microphone);
}

#[test]
fn sound_that_is_set_too_loud_is_told_once() {
    let loud: Vec<f32> = (0..32_000).map(|n| if n % 10 == 0 { 1.0 } else { 0.1 }).collect();
    let (opener, _) = made([Plan::Floats(16_000, 1, loud, false)]);
    let mut microphone = Microphone::with(opener, Leave::default()).unwrap();
    let news = microphone.news().unwrap();
    for _ in 0..95 {
        microphone.next_frame().unwrap().unwrap();
    }
    let told: Vec<MicEvent> = news.try_iter().collect();
    assert_eq!(told, [MicEvent::Clipping { permille: 100 }]);
    assert!(microphone.reading().is_some());
}

#[test]
fn no_device_or_a_silent_one_is_an_error_and_a_wish_to_leave_is_the_end() {
    let refused = Microphone::with(made([Plan::Refuse]).0, Leave::default()).unwrap_err();
    let told = refused.to_string();
    assert!(told.contains("made up: refused") && told.contains("chalkhand doctor"), "{told}");
    let (opener, opened) = made([Plan::Silent]);
    let told = Microphone::with(opener, Leave::default()).unwrap_err().to_string();
    assert!(told.contains("stayed silent"), "{told}");
    assert!(2 <= *opened.lock().unwrap(), "another of that name may work");

    let leave = Leave::default();
    let sound = Plan::Floats(16_000, 1, vec![0.25; 10 * FRAME], false);
    let mut microphone = Microphone::with(made([sound]).0, leave.clone()).unwrap();
    assert!(microphone.next_frame().unwrap().is_some());
    leave.ask();
    assert!(microphone.next_frame().unwrap().is_none());
}

#[test]
fn a_part_of_a_name_means_the_best_of_the_devices_that_have_it() {
    let name = |id: &str, title: &str| DeviceName { id: id.into(), title: title.into() };
    let all = [
        name("hw:CARD=Ear,DEV=0", "Ear Example, Sound"),
        name("plughw:CARD=Ear,DEV=0", "Ear Example, Sound"),
        name("pulse", "Sound server"),
        name("ear", "By its whole name"),
    ];
    let found = |wanted| -> Vec<&str> {
        meant(wanted, &all).into_iter().map(|name| name.id.as_str()).collect()
    };
    assert_eq!(found("EAR"), ["ear", "plughw:CARD=Ear,DEV=0", "hw:CARD=Ear,DEV=0"]);
    assert_eq!(found("server"), ["pulse"]);
    assert!(found("nothing like it").is_empty());
    assert_eq!(all[2].to_string(), "pulse (Sound server)");
}
