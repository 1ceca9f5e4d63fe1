//! Rulings along a cut chosen together: the cheapest sequence of candidates, where neighbours pay
//! for how far one is turned against the other.
//!
//! Dynamic programming over the stations (Viterbi, A. J. (1967), "Error bounds for convolutional
//! codes and an asymptotically optimum decoding algorithm", IEEE Trans. Inf. Theory 13). A closed
//! line is first run twice round; the ruling found half way is held, and the line run once more
//! from it to itself.

use rayon::prelude::*;

use super::SheetSettings;
use super::line::{Place, Places};
use super::rulings::{Candidates, Ruling, Standing};
use crate::mesh::{Point, Vector};

/// Price of a change of lean between neighbours 1 mm apart, per radian squared.
const CHANGE: f64 = 7.5;
/// Price of one neighbour turning and the other not.
const TURN_STARTS: f64 = 0.3;
/// Price of a bend sharper than the blade's, and of rulings that run into each other, each per
/// unit of excess.
const TOO_SHARP: f64 = 50.0;
/// Least distance between neighbours outside, as a share of that at the model.
const LEAST_SPREAD: f64 = 0.15;
/// Rulings that turn are also tried this far either side of where they are needed, mm.
const ROUND_A_TURN: f64 = 10.0;
/// Steps of the refined grids, degrees, and how often each is laid at most. Neighbours may lean by
/// a few degrees only against each other where rulings are long and close up, so a fan opens
/// little by little.
const REFINED: [(f64, u32); 2] = [(3.0, 5), (1.0, 1)];

/// How far neighbours are turned against each other across the sheet: the sine of the angle by
/// which the blade is bent. Fanning out within the sheet bends nothing.
pub(super) fn bend(from: &Place, a: &Vector, to: &Place, b: &Vector) -> f64 {
    let step = to.frame.at - from.frame.at;
    let middle = a + b;
    let across = step.cross(&middle).try_normalize(1e-12).unwrap_or(from.frame.left);
    (b - a).dot(&across).abs()
}

fn change_price(
    (from, a): (&Place, &Ruling),
    (to, b): (&Place, &Ruling),
    stiffness: f64,
    settings: &SheetSettings,
) -> f64 {
    if a.blocked || b.blocked {
        return 0.0;
    }
    let step = to.frame.at - from.frame.at;
    let apart = step.norm().max(1e-6);
    // Leaning alike costs nothing, however the surface turns below; rulings that are tied together
    // pay for the turn itself.
    let lean = (b.local - a.local).norm_squared();
    let turn = (b.last - a.last).norm_squared();
    let mut sum = CHANGE * (lean + (stiffness - 1.0) * turn) / apart;
    if a.turn.is_some() != b.turn.is_some() {
        sum += TURN_STARTS;
    }
    let bend = bend(from, &a.last, to, &b.last) * settings.bend_radius / apart;
    sum += TOO_SHARP * (bend - 1.0).max(0.0);
    let spread = (b.outside - a.outside).dot(&step) / (apart * apart);
    sum += TOO_SHARP * (LEAST_SPREAD - spread).max(0.0);
    sum
}

/// The cheapest sequence.
fn cheapest(
    places: &[&Place],
    candidates: &[&[Ruling]],
    stiffness: impl Fn(usize) -> f64,
    settings: &SheetSettings,
) -> Vec<usize> {
    let mut sums: Vec<f64> = candidates[0].iter().map(|r| r.price).collect();
    let mut back: Vec<Vec<usize>> = Vec::with_capacity(candidates.len());
    for k in 1..candidates.len() {
        let (before, now) = (candidates[k - 1], candidates[k]);
        let stiff = stiffness(k - 1);
        let mut order: Vec<usize> = (0..before.len()).collect();
        order.sort_by(|&a, &b| sums[a].total_cmp(&sums[b]).then(a.cmp(&b)));
        let steps: Vec<(f64, usize)> = now
            .iter()
            .map(|b| {
                let mut best = (f64::INFINITY, 0);
                for &index in &order {
                    // Prices of change are not negative: those after this one are dearer.
                    if sums[index] >= best.0 {
                        break;
                    }
                    let a = &before[index];
                    let (from, to) = ((places[k - 1], a), (places[k], b));
                    let sum = sums[index] + change_price(from, to, stiff, settings);
                    if sum < best.0 {
                        best = (sum, index);
                    }
                }
                (best.0 + b.price, best.1)
            })
            .collect();
        sums = steps.iter().map(|s| s.0).collect();
        back.push(steps.into_iter().map(|s| s.1).collect());
    }
    let mut at = (0..sums.len()).min_by(|&a, &b| sums[a].total_cmp(&sums[b])).unwrap_or(0);
    let mut chosen = vec![at; candidates.len()];
    for k in (1..candidates.len()).rev() {
        at = back[k - 1][at];
        chosen[k - 1] = at;
    }
    chosen
}

/// Rulings that another branch of the cut has already settled, at either end.
#[derive(Clone, Debug, Default)]
pub(super) struct Held {
    pub first: Option<HeldRuling>,
    pub last: Option<HeldRuling>,
}

/// A settled ruling.
#[derive(Clone, Debug)]
pub(super) struct HeldRuling {
    pub turn: Option<Point>,
    pub ruling: Ruling,
}

impl HeldRuling {
    /// The ruling as it looks from a place of another branch.
    fn seen_from(&self, place: &Place) -> Ruling {
        let ruling = &self.ruling;
        Ruling {
            turn: self.turn,
            lean: place.frame.lean_of(&ruling.last),
            local: place.frame.local(&ruling.last),
            price: 0.0,
            ..ruling.clone()
        }
    }
}

/// Choose a ruling for every place of a line.
pub(super) fn choose(
    line: &Places,
    standing: impl Fn(usize) -> Standing + Sync,
    candidates: &Candidates<'_>,
    held: &Held,
    settings: &SheetSettings,
) -> Vec<Ruling> {
    let places = &line.places;
    let hold = |k: usize| -> Option<Ruling> {
        let end = if k == 0 {
            held.first.as_ref()
        } else if k + 1 == places.len() {
            held.last.as_ref()
        } else {
            None
        };
        end.map(|h| h.seen_from(&places[k]))
    };
    let mut lists: Vec<Vec<Ruling>> = (0..places.len())
        .into_par_iter()
        .map(|k| match hold(k) {
            Some(ruling) => vec![ruling],
            None => candidates.straight(&places[k], standing(k)),
        })
        .collect();
    add_turns(line, &mut lists, candidates, &hold);
    for (list, place) in lists.iter_mut().zip(places) {
        if list.is_empty() {
            list.push(candidates.blocked(place));
        }
    }
    // Neighbours that pass a part of the model on either side leave it between them. Where that
    // happens they are tied together more tightly, until they take the same side: first on the
    // coarse grid, then once refined.
    let mut stiffness = vec![1.0; places.len() - 1];
    let torn = |chosen: &[Ruling]| -> Vec<usize> {
        let gaps = (0..chosen.len() - 1).into_par_iter();
        gaps.filter(|&k| {
            candidates.torn((&places[k], &chosen[k]), (&places[k + 1], &chosen[k + 1]))
        })
        .collect()
    };
    let mut known = std::array::from_fn(|_| vec![None; places.len()]);
    let mut best: Option<(usize, Vec<Ruling>)> = None;
    for _ in 0..REFINEMENTS {
        let mut coarse = run(line, lists.clone(), &stiffness, settings);
        for _ in 0..TIES {
            let gaps = torn(&coarse);
            if gaps.is_empty() {
                break;
            }
            tie(&mut stiffness, &gaps);
            coarse = run(line, lists.clone(), &stiffness, settings);
        }
        let chosen =
            refined(line, coarse, &standing, candidates, &hold, &mut known, &stiffness, settings);
        let gaps = torn(&chosen);
        if best.as_ref().is_none_or(|(least, _)| gaps.len() < *least) {
            best = Some((gaps.len(), chosen));
        }
        if gaps.is_empty() {
            break;
        }
        tie(&mut stiffness, &gaps);
    }
    best.map(|(_, chosen)| chosen).unwrap_or_default()
}

/// Times that rulings on the coarse grid are tied together more tightly, and by how much.
const TIES: usize = 4;
const TIED: f64 = 4.0;
/// Times that refined rulings may turn out torn.
const REFINEMENTS: usize = 2;

fn tie(stiffness: &mut [f64], gaps: &[usize]) {
    let last = stiffness.len() - 1;
    for &k in gaps {
        for near in &mut stiffness[k.saturating_sub(1)..=(k + 1).min(last)] {
            *near *= TIED;
        }
    }
}

/// The candidates near a ruling of each station, and that ruling: rays are what all this costs.
type Neighbourhoods = Vec<Option<(Ruling, Vec<Ruling>)>>;

/// Chosen rulings moved step by step to cheaper ones near them.
#[allow(clippy::too_many_arguments)] // one step of `choose`, with all that it knows
fn refined(
    line: &Places,
    mut chosen: Vec<Ruling>,
    standing: &(impl Fn(usize) -> Standing + Sync),
    candidates: &Candidates<'_>,
    hold: &(impl Fn(usize) -> Option<Ruling> + Sync),
    known: &mut [Neighbourhoods; REFINED.len()],
    stiffness: &[f64],
    settings: &SheetSettings,
) -> Vec<Ruling> {
    let places = &line.places;
    for (stage, (step, times)) in REFINED.into_iter().enumerate() {
        for _ in 0..times {
            let lists = known[stage]
                .par_iter_mut()
                .enumerate()
                .map(|(k, known)| {
                    let own = &chosen[k];
                    if hold(k).is_some() || own.blocked {
                        return vec![own.clone()];
                    }
                    if known.as_ref().is_none_or(|(from, _)| from.outside != own.outside) {
                        let mut list = vec![own.clone()];
                        list.extend(candidates.near(&places[k], own, standing(k), step));
                        *known = Some((own.clone(), list));
                    }
                    known.as_ref().map_or_else(Vec::new, |(_, list)| list.clone())
                })
                .collect();
            let better = run(line, lists, stiffness, settings);
            let settled = better.iter().zip(&chosen).all(|(a, b)| a.outside == b.outside);
            chosen = better;
            if settled {
                break;
            }
        }
    }
    chosen
}

/// Turned rulings where no straight one is acceptable, and a little either side.
fn add_turns(
    line: &Places,
    lists: &mut [Vec<Ruling>],
    candidates: &Candidates<'_>,
    hold: &(impl Fn(usize) -> Option<Ruling> + Sync),
) {
    let places = &line.places;
    let needy: Vec<f64> = lists
        .iter()
        .zip(places)
        .filter(|(list, _)| list.iter().all(|r| r.price > NEEDS_A_TURN))
        .map(|(_, place)| place.along)
        .collect();
    if needy.is_empty() {
        return;
    }
    let turned: Vec<Vec<Ruling>> = (0..places.len())
        .into_par_iter()
        .map(|k| {
            let near = needy.iter().any(|at| (at - places[k].along).abs() <= ROUND_A_TURN);
            if near && hold(k).is_none() { candidates.turned(&places[k]) } else { Vec::new() }
        })
        .collect();
    for (list, more) in lists.iter_mut().zip(turned) {
        list.extend(more);
    }
}

/// A straight ruling dearer than this is worse than one that turns: about what a lean a little
/// beyond the acceptable angle costs.
const NEEDS_A_TURN: f64 = 4.0;

fn run(
    line: &Places,
    mut lists: Vec<Vec<Ruling>>,
    stiffness: &[f64],
    settings: &SheetSettings,
) -> Vec<Ruling> {
    let count = lists.len();
    if line.closed {
        let round = count - 1;
        let twice: Vec<usize> = (0..=2 * round).map(|k| k % round).collect();
        let places: Vec<&Place> = twice.iter().map(|&k| &line.places[k]).collect();
        let all: Vec<&[Ruling]> = twice.iter().map(|&k| lists[k].as_slice()).collect();
        let found = cheapest(&places, &all, |k| stiffness[k % round], settings)[round];
        let held = lists[0][found].clone();
        lists[0] = vec![held.clone()];
        lists[round] = vec![held];
    }
    let places: Vec<&Place> = line.places.iter().collect();
    let all: Vec<&[Ruling]> = lists.iter().map(Vec::as_slice).collect();
    let chosen = cheapest(&places, &all, |k| stiffness[k], settings);
    chosen.iter().zip(lists).map(|(&c, list)| list[c].clone()).collect()
}
