//! Every sentence a language has to have: its key in the language's file and
//! the places that are filled in. The words are in `languages/`.

use crate::files::Sentence;

macro_rules! sentences {
    ($($name:ident = $key:literal [$($place:literal)*];)*) => {
        /// The key of a sentence in a language's file.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub(super) enum Key { $($name),* }

        impl Key {
            /// Its name in the language's file.
            pub(super) fn name(self) -> &'static str {
                match self { $(Self::$name => $key),* }
            }
        }

        /// Keys and places, as a language's file has to hold them.
        pub const SENTENCES: &[Sentence] = &[$(($key, &[$($place),*])),*];
    };
}

sentences! {
    OneStep = "one-step" [];
    Steps = "steps" ["n"];
    OneDeviation = "one-deviation" [];
    Deviations = "deviations" ["n"];

    Opening = "opening" ["title" "steps"];
    OpeningAgain = "opening-again" ["title" "steps"];
    Step = "step" ["number" "of" "title" "text"];
    Where = "where" ["number" "of" "title" "steps"];
    Finished = "finished" ["title"];
    FinishedDeviations = "finished-deviations" ["title" "deviations"];
    Ended = "ended" ["was-wrong"];
    NothingBefore = "nothing-before" [];
    Correcting = "correcting" ["title" "resume"];
    Missing = "missing" ["title" "names"];
    OnePhoto = "one-photo" ["photo-taken"];
    Photos = "photos" ["left" "photo-taken"];
    Cautions = "cautions" ["said"];
    NoCautions = "no-cautions" [];
    NoReason = "no-reason" [];

    AskAgain = "ask-again" [];
    Reworded = "reworded" ["title" "expected"];
    UseTouch = "use-touch" ["title"];
    NotUnderstood = "not-understood" ["why?"];
    OutOfRange = "out-of-range" ["given" "from" "to"];
    OutOfRangeOpen = "out-of-range-open" ["given"];
    SayCommand = "say-command" ["command"];
    SayEither = "say-either" ["one" "other"];
    SayLength = "say-length" [];
    SayNumber = "say-number" [];
    SayNumberIn = "say-number-in" ["unit"];
    SayChoice = "say-choice" ["options"];
    SayWords = "say-words" [];
    Listening = "listening" [];
    TypeChoice = "type-choice" ["options"];
    TypeWords = "type-words" [];
    TypeHeld = "type-held" ["role" "keys"];

    ReadBack = "read-back" ["given"];
    ReadBackDone = "read-back-done" [];
    ReadBackOn = "read-back-on" ["given"];
    ReadBackOff = "read-back-off" ["given"];
    OffTarget = "off-target" ["given" "off" "measure-again" "log-as-is"];
    OffTargetChoice = "off-target-choice" ["given" "off" "measure-again" "log-as-is"];
    OffMore = "off-more" ["by" "mark"];
    OffLess = "off-less" ["by" "mark"];
    OffTooFew = "off-too-few" ["few"];
    OffNot = "off-not" ["wanted"];
    OffOther = "off-other" [];
    AskReason = "ask-reason" [];
    AskSkipReason = "ask-skip-reason" [];
    SayNote = "say-note" [];
    WordsBack = "words-back" ["words"];

    Logged = "logged" [];
    NotLogged = "not-logged" ["why?"];
    TryAgain = "try-again" ["repeat"];
    OthersLogged = "others-logged" [];
    OthersChanged = "others-changed" [];

    NotTrusted = "not-trusted" [];
    Louder = "louder" [];
    Unchecked = "unchecked" [];
    TouchOrType = "touch-or-type" [];
    NotChecked = "not-checked" [];
    CheckQuiet = "check-quiet" ["seconds"];
    CheckRead = "check-read" ["phrase"];
    CheckAgain = "check-again" ["phrase"];
    CheckVerdict = "check-verdict" ["commands" "numbers"];
    Clear = "clear" [];
    Repeats = "repeats" ["because" "mend"];
    Mistrusted = "mistrusted" ["because" "mend"];
    Barely = "barely" [];
    OnlyAgain = "only-again" [];
    Missed = "missed" [];
    Mistaken = "mistaken" [];
    MendNoise = "mend-noise" [];
    MendVoice = "mend-voice" [];

    Held = "held" ["title" "role"];
    Released = "released" ["by"];
    Witness = "witness" ["title" "role"];
    Paused = "paused" ["call-word" "resume"];
}
