//! Which record has which number: a log numbers its records upwards, so a few runs tell them all.

use std::collections::HashMap;

use super::Id;

/// Consecutive numbers of records that stand one after the other, or of records that were not kept.
#[derive(Debug, Clone, Copy)]
struct Run {
    first: u64,
    count: u64,
    /// Where the record of the first number stands; `None` if these records were not kept.
    place: Option<usize>,
}

/// A number's record: where it stands, or that it was not kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    /// Kept, at this index.
    At(usize),
    /// It is in the file and was not kept.
    NotKept,
}

/// The numbers of all records seen so far.
#[derive(Debug, Default)]
pub(super) struct Numbers {
    /// Rising, and none overlaps another.
    runs: Vec<Run>,
    /// Numbers that came again or came late, as in a file put together by hand.
    stragglers: HashMap<u64, Place>,
}

impl Numbers {
    /// Notes a number; tells whether it is new. Of records with the same number the last is meant.
    pub(super) fn note(&mut self, id: Id, place: Place) -> bool {
        let is_new = self.get(id).is_none();
        let number = id.0;
        match self.runs.last_mut() {
            Some(last) if number < last.first + last.count => {
                self.stragglers.insert(number, place);
            }
            Some(last) if last.goes_on_with(number, place) => last.count += 1,
            _ => self.runs.push(Run { first: number, count: 1, place: place.index() }),
        }
        is_new
    }

    /// The record of this number.
    pub(super) fn get(&self, id: Id) -> Option<Place> {
        if let Some(place) = self.stragglers.get(&id.0) {
            return Some(*place);
        }
        let after = self.runs.partition_point(|run| run.first <= id.0);
        let run = self.runs.get(after.checked_sub(1)?)?;
        let offset = id.0 - run.first;
        let place = || run.place.map_or(Place::NotKept, |first| Place::At(first + offset as usize));
        (offset < run.count).then(place)
    }

    /// The largest of them.
    pub(super) fn largest(&self) -> Option<Id> {
        // Stragglers are smaller than the run before which they came.
        self.runs.last().map(|run| Id(run.first + run.count - 1))
    }
}

impl Run {
    fn goes_on_with(&self, number: u64, place: Place) -> bool {
        let next = self.place.map(|first| first + self.count as usize);
        number == self.first + self.count && place.index() == next
    }
}

impl Place {
    /// Where the record stands, if it was kept.
    pub(super) const fn index(self) -> Option<usize> {
        match self {
            Self::At(index) => Some(index),
            Self::NotKept => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_log_numbered_upwards_is_one_run() {
        let mut numbers = Numbers::default();
        for number in 1..=1000 {
            assert!(numbers.note(Id(number), Place::At(number as usize - 1)));
        }
        assert_eq!((numbers.runs.len(), numbers.stragglers.len()), (1, 0));
        assert_eq!(numbers.largest(), Some(Id(1000)));
        assert_eq!(numbers.get(Id(1001)), None);
    }

    proptest! {
        /// A hash map is the reference.
        #[test]
        fn runs_tell_what_a_map_tells(noted in proptest::collection::vec((0..40u64, 0..4usize), 0..60)) {
            let (mut numbers, mut map) = (Numbers::default(), HashMap::new());
            let mut kept = 0;
            for (number, kind) in noted {
                let place = if kind == 0 { Place::NotKept } else { Place::At(kept) };
                kept += usize::from(kind != 0);
                prop_assert_eq!(numbers.note(Id(number), place), map.insert(number, place).is_none());
            }
            for number in 0..42 {
                prop_assert_eq!(numbers.get(Id(number)), map.get(&number).copied());
            }
            prop_assert_eq!(numbers.largest(), map.keys().max().copied().map(Id));
        }
    }
}
