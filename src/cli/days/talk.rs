//! What is said on an invented site that answers nothing, near misses of the
//! commands among it; and reasons and notes in the crew's own words.

/// Ordinary talk.
pub(super) const CHATTER: [&str; 64] = [
    "let's get it done before lunch",
    "are you done with that ladder",
    "I think we are nearly done here",
    "the step is done over there",
    "is this step done yet",
    "yes I know that",
    "yeah that's about right",
    "yes that one is right there",
    "no I did not see him",
    "no that is mine",
    "right so where is the other box",
    "hand me the nail gun please",
    "did you bring the long tape",
    "the step is wet be careful",
    "step back from the edge",
    "one step at a time",
    "that step is not done",
    "is it complete",
    "we completed the other side on Tuesday",
    "go and get the truck",
    "go back to the van for the tape",
    "come back in an hour",
    "put it back where it was",
    "hold on a minute",
    "pass me the chalk line",
    "the line is off by a bit",
    "that looks wrong to me",
    "that was the wrong box",
    "what is wrong with the compressor",
    "he said it was all right",
    "all right then",
    "that's right over there",
    "take a look at this",
    "take a photo of the dog",
    "did you take the note to the office",
    "the photo was taken yesterday",
    "read it to me later",
    "what is the reason for that",
    "careful with the saw",
    "skip the coffee today",
    "skip to the next song",
    "log in to the phone",
    "look at the book",
    "the log is on the fire",
    "repeat after me",
    "say that again",
    "measure twice and cut once",
    "I will measure it again tomorrow",
    "work is slow this week",
    "resume the music",
    "pause the radio",
    "where were you",
    "where did you park",
    "it is what it is",
    "leave it as it is",
    "five of us are coming",
    "give me two of those",
    "we need ten more bundles",
    "it is half past three",
    "there were twelve people",
    "two by four is in the van",
    "my foot hurts",
    "nothing in the way of lunch",
    "the weather looks bad",
];

/// Why something is left as it is, or left out.
pub(super) const REASONS: [&str; 6] = [
    "it is the best we can do today",
    "the old deck is not straight here",
    "the foreman knows about it",
    "there is no room for more",
    "the customer wants it this way",
    "we will come back for it tomorrow",
];

/// Things worth a note.
pub(super) const NOTES: [&str; 4] = [
    "the gutter is loose at this corner",
    "one shingle was broken before we came",
    "the neighbor wants a call before we leave",
    "there is a wasp nest under the eave",
];

/// The same words, roughly: a person does not mind a small word.
pub(super) fn alike(meant: &str, heard: &str) -> bool {
    let plain = |text: &str| -> Vec<String> {
        let words = text.to_lowercase();
        let words = words.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
        words.map(str::to_owned).collect()
    };
    let (meant, heard) = (plain(meant), plain(heard));
    let common = meant.iter().filter(|word| heard.contains(word)).count();
    meant.len() * 3 <= common * 4 && heard.len() <= meant.len() + 3
}
