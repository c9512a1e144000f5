//! What was read before, kept in memory for whoever asks next. What of it still
//! holds is its keeper's matter: it is in the key.

use std::collections::HashMap;
use std::hash::Hash;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// At most so many by their keys; one more, and all are forgotten.
pub(super) struct Remembered<K, V> {
    all: Mutex<Option<HashMap<K, V>>>,
    most: usize,
}

impl<K: Eq + Hash, V: Clone> Remembered<K, V> {
    pub(super) const fn most(most: usize) -> Self {
        Self { all: Mutex::new(None), most }
    }

    pub(super) fn find(&self, key: &K) -> Option<V> {
        self.lock().as_ref()?.get(key).cloned()
    }

    pub(super) fn keep(&self, key: K, value: V) {
        let mut all = self.lock();
        let all = all.get_or_insert_default();
        if self.most <= all.len() {
            all.clear();
        }
        all.insert(key, value);
    }

    fn lock(&self) -> MutexGuard<'_, Option<HashMap<K, V>>> {
        // What is in it was read well, whoever panicked since.
        self.all.lock().unwrap_or_else(PoisonError::into_inner)
    }

    #[cfg(test)]
    pub(super) fn len(&self) -> usize {
        self.lock().as_ref().map_or(0, HashMap::len)
    }
}
