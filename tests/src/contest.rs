//! The same messages to the drum watch and to its peers, and what each said against what was true.
//!
//! - [`play`]: one season told minute by minute; - [`case`](mod@case): one forecast of everybody beside the truth;
//! - [`peers`], [`kalman`]: simpler ways to forecast; - [`spread`]: intervals for those that have none of their own;
//! - [`parts`]: where an error comes from; [`tally`]: scores over many cases; - [`events`]: refills and changes found, and how soon all was well again;
//! - [`nights`]: the real room through the nights; - [`goals`]: what must hold.

pub mod case;
pub mod events;
pub mod goals;
pub mod kalman;
pub mod nights;
pub mod parts;
pub mod peers;
pub mod play;
pub mod spread;
pub mod tally;

use std::num::NonZeroUsize;
use std::sync::Mutex;
use std::thread;

use crate::season::rooms::RoomKind;
use crate::season::{Season, Simulator};
use play::{Played, Whom};

/// Seasons to be played.
#[derive(Debug, Clone)]
pub struct Bill {
    /// By whom they are made.
    pub by: Simulator,
    /// In which rooms.
    pub rooms: Vec<RoomKind>,
    /// From which seeds.
    pub seeds: Vec<u64>,
    /// How long each lasts, days.
    pub days: u32,
}

/// Plays all seasons of a bill on all cores; in the order of rooms and seeds.
///
/// # Panics
/// When a season panics.
#[must_use]
pub fn play_all(bill: &Bill, whom: Whom) -> Vec<Played> {
    let pairs: Vec<(RoomKind, u64)> =
        bill.rooms.iter().flat_map(|room| bill.seeds.iter().map(|seed| (*room, *seed))).collect();
    let mut played = each_on_its_core(&pairs, |(room, seed)| {
        let season: Season = bill.by.season(*room, *seed, bill.days);
        play::play(&season, whom)
    });
    if whom.kalman {
        kalman::fill(&mut played);
    }
    played
}

/// Does something to each item on all cores; results in the order of the items.
///
/// # Panics
/// When the work on an item panics.
pub fn each_on_its_core<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let next = Mutex::new(0..items.len());
    let done = Mutex::new(Vec::with_capacity(items.len()));
    let cores = thread::available_parallelism().map_or(1, NonZeroUsize::get);
    thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(|| {
                loop {
                    let Some(place) = next.lock().expect("nobody panics while counting").next() else {
                        break;
                    };
                    let Some(item) = items.get(place) else { break };
                    let result = work(item);
                    done.lock().expect("nobody panics while pushing").push((place, result));
                }
            });
        }
    });
    let mut done = done.into_inner().expect("nobody panics while pushing");
    done.sort_by_key(|(place, _)| *place);
    done.into_iter().map(|(_, result)| result).collect()
}
