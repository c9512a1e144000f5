//! WAV files, resampling, frames and endpoints, without any model.
#![allow(clippy::indexing_slicing)]

use std::io::{Cursor, Read};

use chalkhand::sound::{
    CHUNK, Endpointer, Endpoints, FileFrames, Framer, RATE_HZ, Resampler, Segment, SoundError,
    Spoken, WavStream, level_dbfs, write_wav,
};
use proptest::prelude::*;

fn wav(rate: u32, channels: u16, bits: u16, float: bool, samples: &[f32]) -> Vec<u8> {
    let spec = hound::WavSpec {
        channels,
        sample_rate: rate,
        bits_per_sample: bits,
        sample_format: if float { hound::SampleFormat::Float } else { hound::SampleFormat::Int },
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
    for sample in samples {
        for _ in 0..channels {
            if float {
                writer.write_sample(*sample).unwrap();
            } else {
                let full = f64::from(2_u32).powi(i32::from(bits) - 1) - 1.0;
                #[expect(clippy::cast_possible_truncation, reason = "in range by its making")]
                writer.write_sample((f64::from(*sample) * full) as i32).unwrap();
            }
        }
    }
    writer.finalize().unwrap();
    bytes.into_inner()
}

fn tone(rate: u32, hz: f32, seconds: f32) -> Vec<f32> {
    #[expect(clippy::cast_precision_loss, reason = "a short tone")]
    let rate = rate as f32;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a short tone")]
    let count = (rate * seconds) as u16;
    (0..count).map(|n| 0.5 * (std::f32::consts::TAU * hz * f32::from(n) / rate).sin()).collect()
}

fn read_all(bytes: &[u8]) -> Result<Vec<f32>, SoundError> {
    let mut stream = WavStream::new(bytes)?;
    let mut samples = Vec::new();
    while stream.read(&mut samples, 1_000)? != 0 {}
    Ok(samples)
}

fn frames(bytes: &[u8]) -> Vec<f32> {
    let mut file = FileFrames::new(bytes).unwrap();
    let mut samples = Vec::new();
    while let Some(frame) = file.next_frame().unwrap() {
        samples.extend(frame);
    }
    samples
}

/// How much of a tone at `hz` is in samples at 16 kHz: its amplitude.
fn amplitude(samples: &[f32], hz: f32) -> f32 {
    let (mut real, mut imaginary) = (0.0_f64, 0.0_f64);
    for (n, sample) in samples.iter().enumerate() {
        let turn = std::f64::consts::TAU * f64::from(hz) * f64::from(u32::try_from(n).unwrap())
            / f64::from(RATE_HZ);
        real += f64::from(*sample) * turn.cos();
        imaginary += f64::from(*sample) * turn.sin();
    }
    let count = f64::from(u32::try_from(samples.len()).unwrap());
    #[expect(clippy::cast_possible_truncation, reason = "an amplitude below one")]
    let found = (2.0 * real.hypot(imaginary) / count) as f32;
    found
}

#[test]
fn every_kind_of_sample_reads_as_the_same_sound() {
    let sound = tone(16_000, 440.0, 0.25);
    for (bits, float) in [(8, false), (16, false), (24, false), (32, false), (32, true)] {
        for channels in [1, 2, 6] {
            let read = read_all(&wav(16_000, channels, bits, float, &sound)).unwrap();
            assert_eq!(read.len(), sound.len());
            let worst = read.iter().zip(&sound).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
            let allowed = if bits == 8 { 0.02 } else { 0.0001 };
            assert!(worst < allowed, "{bits} bits, {channels} channels: off by {worst}");
        }
    }
}

#[test]
fn channels_are_averaged() {
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).unwrap();
    for _ in 0..100 {
        writer.write_sample(16_384_i32).unwrap();
        writer.write_sample(-8_192_i32).unwrap();
    }
    writer.finalize().unwrap();
    let read = read_all(&bytes.into_inner()).unwrap();
    assert!(read.iter().all(|s| (s - 0.125).abs() < 0.001), "{:?}", read.first());
}

#[test]
fn every_rate_becomes_16_khz_without_losing_time_or_pitch() {
    for rate in [4_000, 8_000, 11_025, 16_000, 22_050, 44_100, 48_000, 44_101] {
        let read = frames(&wav(rate, 1, 16, false, &tone(rate, 440.0, 1.0)));
        assert!((15_990..=16_320).contains(&read.len()), "{rate} Hz gave {} samples", read.len());
        let middle = &read[4_000..12_000];
        let found = amplitude(middle, 440.0);
        assert!((found - 0.5).abs() < 0.02, "{rate} Hz: {found} at 440 Hz");
        assert!(amplitude(middle, 700.0) < 0.01, "{rate} Hz: another pitch is in it");
    }
}

#[test]
fn a_tone_above_hearing_does_not_fold_back() {
    let read = frames(&wav(48_000, 1, 16, false, &tone(48_000, 11_000.0, 1.0)));
    assert!(level_dbfs(&read[4_000..12_000]) < -60.0);
}

#[test]
fn the_start_of_a_sound_stays_where_it_was() {
    for rate in [8_000_usize, 44_100] {
        let mut sound = vec![0.0; rate / 2];
        sound.extend(vec![0.8; rate / 2]);
        let read = frames(&wav(u32::try_from(rate).unwrap(), 1, 16, false, &sound));
        let start = read.iter().position(|s| 0.4 < *s).unwrap();
        assert!((7_990..=8_010).contains(&start), "{rate} Hz: begins at {start}, not 8000");
    }
}

#[test]
fn blocks_of_any_size_give_the_same_sound() {
    let sound = tone(44_100, 300.0, 0.5);
    let mut whole = Vec::new();
    let mut resampler = Resampler::new(44_100).unwrap();
    resampler.push(&sound, &mut whole).unwrap();
    resampler.finish(&mut whole).unwrap();
    for size in [1, 7, 160, 4_096] {
        let mut parts = Vec::new();
        let mut resampler = Resampler::new(44_100).unwrap();
        for block in sound.chunks(size) {
            resampler.push(block, &mut parts).unwrap();
        }
        resampler.finish(&mut parts).unwrap();
        assert_eq!(parts, whole, "in blocks of {size}");
    }
}

#[test]
fn what_is_no_usable_wav_is_told_in_plain_words() {
    let told = |bytes: &[u8]| read_all(bytes).unwrap_err().to_string();
    assert_eq!(told(b""), "the file is empty; record it again");
    assert!(told(b"hello, this is a text").contains("not a WAV file"));
    assert!(told(b"OggS0000000000000000").contains("Ogg"));
    assert!(told(b"RIFF").contains("not a WAV file"));
    assert!(told(b"RIFF\x24\0\0\0WAVE").contains("ends before any sound"));
    let mut fast = wav(16_000, 1, 16, false, &[0.0; 10]);
    fast[24..28].copy_from_slice(&400_000_u32.to_le_bytes());
    fast[28..32].copy_from_slice(&800_000_u32.to_le_bytes());
    assert!(told(&fast).contains("400000 Hz"), "{}", told(&fast));
    let mut none = wav(16_000, 1, 16, false, &[0.0; 10]);
    none[22..24].copy_from_slice(&0_u16.to_le_bytes());
    assert!(read_all(&none).is_err());
    let mut many = wav(16_000, 1, 16, false, &[0.0; 10]);
    many[22..24].copy_from_slice(&60_000_u16.to_le_bytes());
    assert!(read_all(&many).is_err());
    let mut squeezed = wav(16_000, 1, 16, false, &[0.0; 10]);
    squeezed[20..22].copy_from_slice(&0x55_u16.to_le_bytes());
    assert!(told(&squeezed).contains("compressed"), "{}", told(&squeezed));
}

#[test]
fn a_recording_cut_off_by_a_dead_battery_is_heard_as_far_as_it_goes() {
    let mut bytes = wav(16_000, 1, 16, false, &tone(16_000, 440.0, 1.0));
    bytes.truncate(44 + 2 * 5_000 + 1);
    assert_eq!(read_all(&bytes).unwrap().len(), 5_000);
}

#[test]
fn a_wav_without_sound_is_read_as_nothing() {
    assert_eq!(read_all(&wav(16_000, 1, 16, false, &[])).unwrap().len(), 0);
    assert!(frames(&wav(48_000, 2, 16, false, &[])).is_empty());
}

/// A two-hour recording that exists nowhere: a header, then endless silence.
struct TwoHours {
    head: Cursor<Vec<u8>>,
    left: u64,
}

impl Read for TwoHours {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let count = self.head.read(buffer)?;
        if 0 < count {
            return Ok(count);
        }
        let count = buffer.len().min(usize::try_from(self.left).unwrap());
        buffer[..count].fill(0);
        self.left -= u64::try_from(count).unwrap();
        Ok(count)
    }
}

#[test]
fn two_hours_stream_through() {
    let samples: u32 = 2 * 3_600 * 8_000;
    let mut head = wav(8_000, 1, 16, false, &[]);
    head[40..44].copy_from_slice(&(samples * 2).to_le_bytes());
    head[4..8].copy_from_slice(&(samples * 2 + 36).to_le_bytes());
    let source = TwoHours { head: Cursor::new(head), left: u64::from(samples) * 2 };
    let mut file = FileFrames::new(std::io::BufReader::with_capacity(65_536, source)).unwrap();
    let mut count = 0_u64;
    while file.next_frame().unwrap().is_some() {
        count += 1;
    }
    assert_eq!(count, 2 * 3_600 * 50);
}

#[test]
fn what_is_written_is_read_again() {
    let sound = tone(16_000, 440.0, 0.5);
    let mut bytes = Cursor::new(Vec::new());
    write_wav(&mut bytes, &sound).unwrap();
    let read = read_all(&bytes.into_inner()).unwrap();
    assert!(read.iter().zip(&sound).all(|(a, b)| (a - b).abs() < 0.0001));
}

#[test]
fn the_hash_of_a_segment_is_that_of_its_16_bit_samples() {
    let segment = Segment {
        samples: vec![0.0, 1.0, -1.0],
        start_ms: 0,
        level_dbfs: 0.0,
        noise_dbfs: 0.0,
        cut: false,
    };
    // printf '\0\0\377\177\001\200' | sha256sum (GNU coreutils)
    assert_eq!(
        segment.sha256(),
        "b6c60bb6a0bbf1e08e4afa2678d340ea0fee1c391600a37ad44094fe1f90820a"
    );
}

#[test]
fn frames_come_out_whole_and_in_order() {
    let mut framer = Framer::<4>::default();
    framer.push(&[1.0, 2.0, 3.0]);
    assert_eq!(framer.next_piece(), None);
    framer.push(&[4.0, 5.0]);
    assert_eq!(framer.next_piece(), Some([1.0, 2.0, 3.0, 4.0]));
    assert_eq!(framer.next_piece(), None);
    assert_eq!(framer.last_piece(), Some([5.0, 0.0, 0.0, 0.0]));
    assert_eq!(framer.last_piece(), None);
}

fn follow(script: &[(usize, f32)]) -> Vec<Spoken> {
    let mut endpointer = Endpointer::new(Endpoints::default());
    let mut found = Vec::new();
    for (count, probability) in script {
        for _ in 0..*count {
            found.extend(endpointer.push(*probability, -50.0));
        }
    }
    found.extend(endpointer.finish());
    found
}

#[test]
fn speech_is_cut_out_with_a_little_before_and_after() {
    let found = follow(&[(50, 0.0), (20, 0.9), (50, 0.0)]);
    let [spoken] = found[..] else { panic!("{found:?}") };
    assert_eq!((spoken.from, spoken.to, spoken.cut), (40, 78, false));
    assert!((spoken.noise_dbfs + 50.0).abs() < 0.1);
}

#[test]
fn a_click_is_not_speech_and_a_short_pause_is_not_an_end() {
    assert_eq!(follow(&[(50, 0.0), (2, 0.9), (50, 0.0)]), []);
    assert_eq!(follow(&[(50, 0.0), (10, 0.9), (10, 0.1), (10, 0.9), (50, 0.0)]).len(), 1);
    assert_eq!(follow(&[(50, 0.0), (10, 0.9), (30, 0.1), (10, 0.9), (50, 0.0)]).len(), 2);
}

#[test]
fn an_endless_talker_is_cut_at_twelve_seconds() {
    let found = follow(&[(10, 0.0), (1_000, 0.9)]);
    assert!(2 <= found.len());
    assert!(found[0].cut);
    let seconds = (found[0].to - found[0].from) * 512 / 16_000;
    assert!((11..=13).contains(&seconds), "{seconds} s");
}

#[test]
fn a_bang_does_not_move_the_noise_floor_far() {
    let mut endpointer = Endpointer::new(Endpoints::default());
    assert_eq!(endpointer.noise_dbfs(), None);
    for _ in 0..100 {
        endpointer.push(0.0, -60.0);
    }
    endpointer.push(0.0, -5.0);
    let after = endpointer.noise_dbfs().unwrap();
    assert!((-60.0..-57.0).contains(&after), "{after}");
}

proptest! {
    #[test]
    fn a_damaged_header_never_panics(
        changes in prop::collection::vec((0_usize..60, any::<u8>()), 1..12),
        cut in 0_usize..400,
        bits in prop::sample::select(vec![8_u16, 16, 24, 32]),
    ) {
        let mut bytes = wav(16_000, 2, bits, false, &[0.25; 40]);
        for (at, value) in changes {
            if let Some(byte) = bytes.get_mut(at) {
                *byte = value;
            }
        }
        bytes.truncate(bytes.len().saturating_sub(cut % 100));
        if let Ok(samples) = read_all(&bytes) {
            prop_assert!(samples.iter().all(|s| s.is_finite() && s.abs() <= 1.0));
        }
    }

    #[test]
    fn any_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let mut with_head = b"RIFF\xff\xff\xff\xffWAVEfmt ".to_vec();
        with_head.extend_from_slice(&bytes);
        let _ = read_all(&bytes);
        let _ = read_all(&with_head);
    }

    #[test]
    fn segments_never_overlap_and_never_leave_the_stream(
        probabilities in prop::collection::vec(0.0_f32..1.0, 0..2_000)
    ) {
        let mut endpointer = Endpointer::new(Endpoints::default());
        let mut end = 0;
        let mut at = 0;
        for probability in probabilities.iter().copied().map(Some).chain([None]) {
            let kept = endpointer.keep_from();
            let spoken = match probability {
                Some(probability) => { at += 1; endpointer.push(probability, -40.0) }
                None => endpointer.finish(),
            };
            if let Some(spoken) = spoken {
                prop_assert!(kept <= spoken.from, "it asks for chunks that were let go");
                prop_assert!(end <= spoken.from && spoken.from < spoken.to && spoken.to <= at);
                end = spoken.to;
            }
        }
        prop_assert_eq!(CHUNK, 512);
    }
}
