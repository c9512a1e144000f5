//! A bundle whose list of files was made to fit what was changed in it.

use super::bundle::{JOB, export, listed_anew, put, refused, tree, worked};
use super::program::Home;

/// What no other check knows, pages and tables, is under the seal of the list.
#[test]
fn a_list_made_to_fit_is_not_that_of_the_device() {
    let home = worked();
    let files = tree(&export(&home, JOB, "a"));
    let desk = Home::new();
    desk.run(["checklist", "list"]).well();
    for (at, name) in ["record.html", "record.pdf", "steps.csv", "README.txt"].iter().enumerate() {
        let mut changed = files.clone();
        changed.insert((*name).to_owned(), b"PASSED, no deviations".to_vec());
        listed_anew(&mut changed);
        let folder = desk.path(&format!("changed{at}"));
        put(&folder, &changed);
        let told = refused(&desk, &folder);
        assert!(told.contains("is not signed by the key of the record"), "{name}: {told}");
    }
    let mut more = files.clone();
    more.insert("more.txt".to_owned(), b"x".to_vec());
    listed_anew(&mut more);
    let folder = desk.path("more");
    put(&folder, &more);
    refused(&desk, &folder);
}
