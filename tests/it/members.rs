//! The members of an object against the standard library's ordered map, and objects
//! that are read in any order of their names.

use std::collections::BTreeMap;

use chalkhand::domain::{Json, Members};
use chalkhand::files;
use proptest::prelude::*;

/// Short and long names, some of them equal, some beyond the basic plane.
fn name() -> impl Strategy<Value = String> {
    prop_oneof![
        "[a-c]{0,2}",
        "[a-c]{22,26}",
        Just("\u{fb33}".to_owned()),
        Just("\u{1f600}".to_owned())
    ]
}

fn whole() -> impl Strategy<Value = Json> {
    any::<u32>().prop_map(Json::from)
}

fn same(members: &Members, map: &BTreeMap<String, Json>) -> Result<(), TestCaseError> {
    prop_assert_eq!(members.len(), map.len());
    prop_assert_eq!(members.is_empty(), map.is_empty());
    prop_assert!(members.iter().eq(map.iter().map(|(name, value)| (name.as_str(), value))));
    prop_assert!(members.keys().eq(map.keys()));
    prop_assert!(members.values().eq(map.values()));
    Ok(())
}

proptest! {
    #[test]
    fn members_are_an_ordered_map(
        first in prop::collection::vec((name(), whole()), 0..24),
        later in prop::collection::vec((name(), prop::option::of(whole())), 0..12),
    ) {
        let mut map: BTreeMap<_, _> = first.iter().cloned().collect();
        let mut members: Members = first.iter().cloned().collect();
        same(&members, &map)?;
        for (name, value) in later {
            prop_assert_eq!(members.get(&name), map.get(&name));
            prop_assert_eq!(members.get_mut(&name), map.get_mut(&name));
            prop_assert_eq!(members.contains_key(&name), map.contains_key(&name));
            match value {
                Some(value) => prop_assert_eq!(
                    members.insert(name.as_str(), value.clone()),
                    map.insert(name, value)
                ),
                None => prop_assert_eq!(members.remove(&name), map.remove(&name)),
            }
            same(&members, &map)?;
        }
        members.extend(first.iter().cloned());
        map.extend(first);
        same(&members, &map)?;
    }

    /// No name is read over, whatever the order; one that stands twice is refused.
    #[test]
    fn an_object_reads_alike_in_any_order(
        all in prop::collection::vec((name(), any::<u32>()), 0..9),
    ) {
        let text = |all: &[(String, u32)]| {
            let all: Vec<_> = all.iter().map(|(name, n)| format!("{name:?}:{n}")).collect();
            format!("{{{}}}", all.join(","))
        };
        let map: BTreeMap<String, u32> = all.iter().cloned().collect();
        let read = files::read_json(text(&all).as_bytes());
        if map.len() < all.len() {
            let told = read.unwrap_err().to_string();
            let twice = (1..).find(|n| all[..*n].iter().any(|(name, _)| *name == all[*n].0)).unwrap();
            let whole = format!("the member `{}` stands twice", all[twice].0);
            prop_assert!(told.contains(&whole), "{} not in {}", whole, told);
        } else {
            let members: Members = map.into_iter().map(|(name, n)| (name, n.into())).collect();
            prop_assert_eq!(read.unwrap(), Json::Object(members));
        }
    }
}
