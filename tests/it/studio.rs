//! A sound server of the test's own, without a sound card: a virtual microphone
//! that recordings are played into, and a virtual loudspeaker to listen at.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// The server, its two devices and its folder.
pub(crate) struct Studio {
    folder: tempfile::TempDir,
    server: Child,
}

/// What the programs of the sound system print is of no interest.
fn quiet(command: &mut Command) -> &mut Command {
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null())
}

/// Waits for something, at most so many seconds.
pub(crate) fn wait_for(seconds: u64, what: &str, mut is: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !is() {
        assert!(begun.elapsed() < Duration::from_secs(seconds), "{what} did not come");
        std::thread::sleep(Duration::from_millis(50));
    }
}

impl Studio {
    /// Starts it; prints why where it cannot, which is a failure where the tests
    /// are promised everything they need.
    pub(crate) fn start() -> Option<Studio> {
        let folder = tempfile::tempdir().unwrap();
        let started = Self::server(folder.path()).and_then(|server| {
            let studio = Studio { folder, server };
            let begun = Instant::now();
            while !studio.pactl(&["info"]) {
                if Duration::from_secs(20) < begun.elapsed() {
                    return Err("it does not answer".to_owned());
                }
                std::thread::sleep(Duration::from_millis(50));
            }
            Ok(studio)
        });
        match started {
            Ok(studio) => Some(studio),
            Err(why) => {
                println!("left out: pulseaudio does not start: {why}");
                let promised = ["CI", "CHALKHAND_OUTSIDE"].map(std::env::var_os);
                assert!(promised.iter().all(Option::is_none), "packaging/test installs it");
                None
            }
        }
    }

    fn server(folder: &Path) -> Result<Child, String> {
        let at = folder.display();
        let script = format!(
            "load-module module-native-protocol-unix socket={at}/socket auth-anonymous=1\n\
             load-module module-null-sink sink_name=horn rate=48000\n\
             load-module module-null-sink sink_name=micfeed rate=48000\n\
             load-module module-remap-source source_name=headset master=micfeed.monitor\n\
             set-default-sink horn\n\
             set-default-source headset\n"
        );
        std::fs::write(folder.join("script"), script).unwrap();
        let devices = "</usr/share/alsa/alsa.conf>\n\
             pcm.!default { type pulse }\n\
             pcm.headset { type pulse device headset \
               hint { show on description \"Headset Example\" } }\n\
             pcm.horn { type pulse device horn \
               hint { show on description \"Horn Example\" } }\n";
        std::fs::write(folder.join("asound.conf"), devices).unwrap();
        let mut command = Command::new("pulseaudio");
        command
            .args(["-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1"])
            .args(["--disable-shm=yes", "-F"])
            .arg(folder.join("script"))
            .env("HOME", folder)
            .env("XDG_RUNTIME_DIR", folder)
            .env("XDG_CONFIG_HOME", folder);
        quiet(&mut command).spawn().map_err(|why| why.to_string())
    }

    /// Lets a program use these devices and no others.
    pub(crate) fn inside<'a>(&self, command: &'a mut Command) -> &'a mut Command {
        command
            .env("PULSE_SERVER", format!("unix:{}/socket", self.folder.path().display()))
            .env("PULSE_COOKIE", self.folder.path().join("cookie"))
            .env("XDG_RUNTIME_DIR", self.folder.path())
            .env("ALSA_CONFIG_PATH", self.folder.path().join("asound.conf"))
    }

    pub(crate) fn pactl(&self, words: &[&str]) -> bool {
        let mut command = Command::new("pactl");
        quiet(self.inside(command.args(words))).status().is_ok_and(|status| status.success())
    }

    /// Plays a recording into the microphone, and waits until it is played.
    pub(crate) fn play(&self, path: &Path) {
        let mut command = Command::new("paplay");
        self.inside(command.arg("--device=micfeed").arg(path));
        assert!(quiet(&mut command).status().unwrap().success());
    }

    /// Records what the loudspeaker plays from now on; ends with the studio.
    pub(crate) fn record(&self) -> Recorder {
        let path = self.folder.path().join("horn.wav");
        let mut command = Command::new("parecord");
        self.inside(command.args(["--device=horn.monitor", "--file-format=wav"]).arg(&path));
        Recorder { parecord: quiet(&mut command).spawn().unwrap(), path }
    }

    /// Whether something is being played on the loudspeaker.
    fn is_speaking(&self) -> bool {
        let mut command = Command::new("pactl");
        self.inside(command.args(["list", "short", "sink-inputs"]).stdin(Stdio::null()));
        let listed = String::from_utf8(command.output().unwrap().stdout).unwrap();
        !listed.trim().is_empty()
    }

    /// Waits until nothing has been said for a while.
    pub(crate) fn wait_for_quiet(&self) {
        let mut quiet_for = 0;
        wait_for(120, "quiet", || {
            quiet_for = if self.is_speaking() { 0 } else { quiet_for + 1 };
            10 <= quiet_for
        });
    }

    /// The headset is out of reach: it is there and gives nothing.
    pub(crate) fn unplug(&self) {
        assert!(self.pactl(&["suspend-source", "headset", "1"]));
    }

    /// It is in reach again.
    pub(crate) fn plug(&self) {
        assert!(self.pactl(&["suspend-source", "headset", "0"]));
    }

    /// The whole sound system is gone.
    pub(crate) fn kill(&mut self) {
        self.server.kill().unwrap();
        self.server.wait().unwrap();
        // What a killed server leaves lying would stop the next.
        std::fs::remove_file(self.folder.path().join("socket")).ok();
    }

    pub(crate) fn restart(&mut self) {
        self.server = Self::server(self.folder.path()).unwrap();
        wait_for(20, "the sound server", || self.pactl(&["info"]));
    }
}

impl Drop for Studio {
    fn drop(&mut self) {
        // It may be gone already.
        self.server.kill().ok();
        self.server.wait().ok();
    }
}

/// A recording that is going on.
pub(crate) struct Recorder {
    parecord: Child,
    path: PathBuf,
}

impl Recorder {
    /// Ends it and gives the file.
    pub(crate) fn stop(mut self) -> PathBuf {
        let pid = self.parecord.id().to_string();
        Command::new("kill").args(["-INT", &pid]).status().unwrap();
        self.parecord.wait().unwrap();
        self.path
    }
}
