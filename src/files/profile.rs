//! Product profile files: one maker's figures, as the user read them from the
//! printed instructions.

use std::collections::BTreeMap;

use crate::domain::{Hash, Profile};

use super::fact::{Raw, check_name, need_id, need_version, read_kind, read_raw, value_of};
use super::node::{Node, as_node, read_root};
use super::problem::{Problems, Source};

/// Reads a product profile file of that name.
///
/// # Errors
///
/// All that is wrong with the file.
pub fn read_profile(text: &str, file: &str) -> Result<Profile, Problems> {
    let source = Source::new(file, text);
    read_root(&source, "profile", |root| read(root, Hash::of(text.as_bytes())))
}

fn read(root: &Node<'_>, hash: Hash) -> Option<Profile> {
    let report = root.report();
    let (id, version) = (need_id(root), need_version(root));
    let (title, source) = (root.need("title"), root.need("source"));
    let invented = root.flag("invented");
    if root.any("invented").is_none() {
        root.missing("invented");
    }
    let mut figures = BTreeMap::new();
    for (name, value) in root.named("figures") {
        let Some(node) = as_node(value, name.at.clone(), "figure", report) else { continue };
        check_name(&name, report);
        let kind = read_kind(&node);
        let value = node.any("value");
        if value.is_none() {
            node.missing("value");
        }
        node.finish();
        let (Some(kind), Some(value)) = (kind, value) else { continue };
        let Some(raw) = read_raw(value, report) else { continue };
        match value_of(&raw, &kind) {
            Ok(value) => {
                figures.insert(name.value, (kind, value));
            }
            Err(message) => {
                let at = if let Raw::Text(text) = &raw { text.letters() } else { value.span() };
                report.say(at, message);
            }
        }
    }
    root.finish();
    Some(Profile {
        id: id?.value,
        version: version?,
        title: title?.value,
        source: source?.value,
        invented: invented?,
        figures,
        hash,
    })
}
