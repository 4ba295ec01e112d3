//! The cheapest way to put work into periods of limited time: a minimum-cost
//! flow from jobs over periods, with "left undone" as the dear way out.
//!
//! Jobs are added one by one; each finds its cheapest way, pushing others
//! aside where that costs less (successive shortest paths; work may be split).
//! After every job the whole is the cheapest for the jobs added so far.

use std::collections::VecDeque;

/// A period into which a job may go.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slot {
    /// The period.
    pub period: usize,
    /// What a block there costs; smaller is better.
    pub cost: i64,
    /// Blocks of this job that fit there at most.
    pub most: u32,
}

/// A piece of work.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Job {
    /// Its size.
    pub blocks: u32,
    /// What a block left undone costs; above the cost of every slot.
    pub worth: i64,
    /// Where it may go.
    pub slots: Vec<Slot>,
}

/// Jobs put into periods.
#[derive(Clone, Debug, Default)]
pub struct Flow {
    jobs: Vec<Job>,
    /// Blocks of each job in each of its slots.
    placed: Vec<Vec<u32>>,
    /// Blocks of each job that found no place.
    undone: Vec<u32>,
    /// Blocks that are free in each period.
    free: Vec<u32>,
    /// Jobs with blocks in each period, and in which of their slots.
    inside: Vec<Vec<(usize, usize)>>,
}

/// How a period was reached: by the job itself, or by pushing a job out of
/// another period.
#[derive(Clone, Copy, Debug)]
struct Step {
    job: usize,
    /// The slot that it leaves; `None` for the job that is being placed.
    from: Option<usize>,
    to: usize,
}

/// The cheapest ways from one job into every period.
struct Reach {
    cost: Vec<Option<i64>>,
    by: Vec<Option<Step>>,
}

/// Where a way ends.
#[derive(Clone, Copy, Debug)]
enum End {
    /// In a period with room.
    Room(usize),
    /// A job is pushed out of a slot and left undone.
    Pushed { job: usize, slot: usize },
}

impl Flow {
    /// Periods with their capacity in blocks.
    pub fn new(capacity: &[u32]) -> Self {
        Flow {
            free: capacity.to_vec(),
            inside: vec![Vec::new(); capacity.len()],
            ..Flow::default()
        }
    }

    /// Places a job as cheaply as can be and returns its number. Slots of
    /// periods that are not there are ignored.
    pub fn add(&mut self, mut job: Job) -> usize {
        let number = self.jobs.len();
        job.slots.retain(|slot| slot.period < self.free.len());
        self.placed.push(vec![0; job.slots.len()]);
        self.undone.push(job.blocks);
        self.jobs.push(job);
        while self.undone[number] > 0 && self.place_some(number) {}
        number
    }

    /// Blocks of a job by period.
    pub fn placed(&self, job: usize) -> impl Iterator<Item = (usize, u32)> + '_ {
        let slots = self.jobs.get(job).map_or(&[][..], |job| &job.slots);
        let blocks = self.placed.get(job).into_iter().flatten();
        slots
            .iter()
            .zip(blocks)
            .filter(|(_, blocks)| **blocks > 0)
            .map(|(slot, blocks)| (slot.period, *blocks))
    }

    /// Blocks of a job that found no place.
    pub fn undone(&self, job: usize) -> u32 {
        self.undone.get(job).copied().unwrap_or(0)
    }

    /// Blocks that are free in a period.
    pub fn free(&self, period: usize) -> u32 {
        self.free.get(period).copied().unwrap_or(0)
    }

    /// A job will not go into any period after this one any more; what it has
    /// there stays.
    pub fn close_after(&mut self, job: usize, last: usize) {
        let placed = self.placed.get(job).into_iter().flatten();
        let slots = self.jobs.get_mut(job).into_iter();
        let slots = slots.flat_map(|job| &mut job.slots);
        for (slot, blocks) in slots.zip(placed) {
            if slot.period > last {
                slot.most = *blocks;
            }
        }
    }

    /// What all of it costs, work left undone included.
    pub fn cost(&self) -> i64 {
        let placed = self.jobs.iter().zip(&self.placed).map(|(job, placed)| {
            let slots = job.slots.iter().zip(placed);
            slots
                .map(|(slot, blocks)| slot.cost * i64::from(*blocks))
                .sum::<i64>()
        });
        let undone = self.jobs.iter().zip(&self.undone);
        placed.sum::<i64>()
            + undone
                .map(|(job, n)| job.worth * i64::from(*n))
                .sum::<i64>()
    }

    /// What one more block in each period would save: the dual of its
    /// capacity, as far as work left undone would use it.
    pub fn relief(&self) -> Vec<i64> {
        let mut relief = vec![0; self.free.len()];
        for (number, job) in self.jobs.iter().enumerate() {
            if self.undone[number] == 0 {
                continue;
            }
            let reach = self.reach(number, job.worth, false);
            for (saved, cost) in relief.iter_mut().zip(&reach.cost) {
                if let Some(cost) = cost {
                    *saved = (*saved).max(job.worth - cost);
                }
            }
        }
        relief
    }

    /// Places as much of a job as one way takes; `false` where no way is
    /// cheaper than to leave it.
    fn place_some(&mut self, number: usize) -> bool {
        // The job's cheapest slot with room, if it is there, is the cheapest
        // way: no push from elsewhere can save anything, or the flow would
        // not have been the cheapest.
        let job = &self.jobs[number];
        let cheapest = (0..job.slots.len())
            .filter(|&slot| self.room_in(number, slot) > 0)
            .min_by_key(|&slot| (job.slots[slot].cost, job.slots[slot].period));
        let Some(cheapest) = cheapest else {
            return false;
        };
        let slot = job.slots[cheapest];
        if slot.cost >= job.worth {
            return false;
        }
        let free = self.free[slot.period];
        if free > 0 {
            let blocks = free
                .min(self.room_in(number, cheapest))
                .min(self.undone[number]);
            self.free[slot.period] -= blocks;
            self.undone[number] -= blocks;
            self.put(number, cheapest, blocks);
            return true;
        }
        // What it costs without pushing anybody is the most that pushing may
        // cost.
        let direct = (0..job.slots.len())
            .filter(|&slot| self.room_in(number, slot) > 0)
            .filter(|&slot| self.free[job.slots[slot].period] > 0)
            .min_by_key(|&slot| (job.slots[slot].cost, job.slots[slot].period));
        let limit = direct.map_or(job.worth, |slot| job.slots[slot].cost.min(job.worth));
        let reach = self.reach(number, limit, true);
        if let Some((end, _)) = self.end_of(number, &reach, limit) {
            return self.push_along(number, &reach, end);
        }
        let Some(direct) = direct.filter(|&slot| job.slots[slot].cost < job.worth) else {
            return false;
        };
        let period = job.slots[direct].period;
        let blocks = self.free[period]
            .min(self.room_in(number, direct))
            .min(self.undone[number]);
        self.free[period] -= blocks;
        self.undone[number] -= blocks;
        self.put(number, direct, blocks);
        blocks > 0
    }

    /// Blocks of a job that a slot still takes, the period's room apart.
    fn room_in(&self, job: usize, slot: usize) -> u32 {
        self.jobs[job].slots[slot]
            .most
            .saturating_sub(self.placed[job][slot])
    }

    fn put(&mut self, job: usize, slot: usize, blocks: u32) {
        if self.placed[job][slot] == 0 && blocks > 0 {
            let period = self.jobs[job].slots[slot].period;
            self.inside[period].push((job, slot));
        }
        self.placed[job][slot] += blocks;
    }

    fn take(&mut self, job: usize, slot: usize, blocks: u32) {
        self.placed[job][slot] -= blocks;
        if self.placed[job][slot] == 0 {
            let period = self.jobs[job].slots[slot].period;
            self.inside[period].retain(|&held| held != (job, slot));
        }
    }

    /// The cheapest ways of a job into all periods, below a limit, whether
    /// there is room at their end or not. For `nearest` only those that may
    /// lead to the nearest room matter: no way gets cheaper by going on, or the
    /// flow would not have been the cheapest.
    fn reach(&self, number: usize, limit: i64, nearest: bool) -> Reach {
        let mut limit = limit;
        let periods = self.free.len();
        let mut reach = Reach {
            cost: vec![None; periods],
            by: vec![None; periods],
        };
        let mut queue = VecDeque::new();
        let mut queued = vec![false; periods];
        // A way of more steps than there are periods would turn in a ring.
        let mut turns = periods.saturating_mul(periods) + periods;
        let mut better = |reach: &mut Reach,
                          queue: &mut VecDeque<usize>,
                          queued: &mut Vec<bool>,
                          period: usize,
                          cost: i64,
                          step: Step| {
            if cost < limit && reach.cost[period].is_none_or(|known| cost < known) {
                reach.cost[period] = Some(cost);
                reach.by[period] = Some(step);
                if !queued[period] {
                    queued[period] = true;
                    queue.push_back(period);
                }
                if nearest && self.free[period] > 0 {
                    limit = cost;
                }
            }
        };
        for (to, slot) in self.jobs[number].slots.iter().enumerate() {
            if self.room_in(number, to) > 0 {
                let step = Step {
                    job: number,
                    from: None,
                    to,
                };
                better(
                    &mut reach,
                    &mut queue,
                    &mut queued,
                    slot.period,
                    slot.cost,
                    step,
                );
            }
        }
        while let Some(period) = queue.pop_front() {
            queued[period] = false;
            turns = turns.saturating_sub(1);
            let (Some(cost), true) = (reach.cost[period], turns > 0) else {
                continue;
            };
            if self.free[period] > 0 {
                // Room here: going on saves nothing.
                continue;
            }
            for &(job, from) in &self.inside[period] {
                let leaves = self.jobs[job].slots[from].cost;
                for (to, slot) in self.jobs[job].slots.iter().enumerate() {
                    if to != from && job != number && self.room_in(job, to) > 0 {
                        let step = Step {
                            job,
                            from: Some(from),
                            to,
                        };
                        let cost = cost - leaves + slot.cost;
                        better(&mut reach, &mut queue, &mut queued, slot.period, cost, step);
                    }
                }
            }
        }
        reach
    }

    /// The cheapest end of the ways, if it is below the limit.
    fn end_of(&self, number: usize, reach: &Reach, limit: i64) -> Option<(End, i64)> {
        let mut best: Option<(End, i64)> = None;
        let mut take = |end: End, cost: i64| {
            if best.is_none_or(|(_, known)| cost < known) {
                best = Some((end, cost));
            }
        };
        for (period, cost) in reach.cost.iter().enumerate() {
            let Some(cost) = *cost else { continue };
            if self.free[period] > 0 {
                take(End::Room(period), cost);
                continue;
            }
            for &(job, slot) in &self.inside[period] {
                if job != number {
                    let pushed = &self.jobs[job];
                    let cost = cost - pushed.slots[slot].cost + pushed.worth;
                    take(End::Pushed { job, slot }, cost);
                }
            }
        }
        best.filter(|(_, cost)| *cost < limit)
    }

    /// Moves as many blocks along a way as it takes.
    fn push_along(&mut self, number: usize, reach: &Reach, end: End) -> bool {
        let mut period = match end {
            End::Room(period) => period,
            End::Pushed { job, slot } => self.jobs[job].slots[slot].period,
        };
        let mut steps = Vec::new();
        while let Some(step) = reach.by[period] {
            steps.push(step);
            match step.from {
                Some(from) if steps.len() <= self.free.len() => {
                    period = self.jobs[step.job].slots[from].period;
                }
                Some(_) => return false,
                None => break,
            }
        }
        let last = match end {
            End::Room(period) => self.free[period],
            End::Pushed { job, slot } => self.placed[job][slot],
        };
        let blocks = steps
            .iter()
            .fold(last.min(self.undone[number]), |least, step| {
                let held = step
                    .from
                    .map_or(u32::MAX, |from| self.placed[step.job][from]);
                least.min(self.room_in(step.job, step.to)).min(held)
            });
        if blocks == 0 {
            return false;
        }
        match end {
            End::Room(period) => self.free[period] -= blocks,
            End::Pushed { job, slot } => {
                self.take(job, slot, blocks);
                self.undone[job] += blocks;
            }
        }
        for step in steps {
            self.put(step.job, step.to, blocks);
            if let Some(from) = step.from {
                self.take(step.job, from, blocks);
            }
        }
        self.undone[number] -= blocks;
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn slots(list: &[(usize, i64)]) -> Vec<Slot> {
        list.iter()
            .map(|&(period, cost)| Slot {
                period,
                cost,
                most: u32::MAX,
            })
            .collect()
    }

    /// reference/algorithms.md 12.3, costs in tenths: linear programming and
    /// counting out agree there on -23.5 against doing nothing.
    #[test]
    fn the_check_of_the_reference() {
        let mut flow = Flow::new(&[2, 3, 2]);
        let jobs = [
            (2, 50, slots(&[(0, 2), (1, 0)])),
            (3, 20, slots(&[(1, 1), (2, 0)])),
            (2, 40, slots(&[(1, 0)])),
            (1, 10, slots(&[(0, 0), (1, 3)])),
        ];
        let mut nothing = 0;
        for (blocks, worth, slots) in jobs {
            nothing += worth * i64::from(blocks);
            flow.add(Job {
                blocks,
                worth,
                slots,
            });
        }
        assert_eq!(flow.cost() - nothing, -235);
        let placed = |job| flow.placed(job).collect::<Vec<_>>();
        assert_eq!(placed(0), [(0, 2)]);
        assert_eq!(placed(1), [(1, 1), (2, 2)]);
        assert_eq!(placed(2), [(1, 2)]);
        assert_eq!((placed(3), flow.undone(3)), (vec![], 1));
        // One more block on day 0 takes D; on day 1 it takes one of A, whose
        // place D takes; on day 2 one of B, whose place that of A takes.
        assert_eq!(flow.relief(), [10, 12, 13]);
    }

    /// The least cost by trying every way of placing block by block.
    fn counted_out(jobs: &[Job], free: &mut [u32]) -> i64 {
        let Some((job, rest)) = jobs.split_first() else {
            return 0;
        };
        fn places(job: &Job, slot: usize, left: u32, rest: &[Job], free: &mut [u32]) -> i64 {
            let Some(at) = job.slots.get(slot) else {
                return job.worth * i64::from(left) + counted_out(rest, free);
            };
            let most = left.min(at.most).min(free[at.period]);
            (0..=most)
                .map(|blocks| {
                    free[at.period] -= blocks;
                    let cost = places(job, slot + 1, left - blocks, rest, free);
                    free[at.period] += blocks;
                    cost + at.cost * i64::from(blocks)
                })
                .min()
                .unwrap()
        }
        places(job, 0, job.blocks, rest, free)
    }

    fn any_job(periods: usize) -> impl Strategy<Value = Job> {
        let slots = prop::collection::btree_map(0..periods, (0i64..30, 1u32..4), 0..=periods);
        (1u32..4, 30i64..90, slots).prop_map(|(blocks, worth, slots)| Job {
            blocks,
            worth,
            slots: slots
                .into_iter()
                .map(|(period, (cost, most))| Slot { period, cost, most })
                .collect(),
        })
    }

    proptest! {
        #[test]
        fn as_cheap_as_counted_out(
            jobs in prop::collection::vec(any_job(4), 0..6),
            free in prop::collection::vec(0u32..4, 4),
        ) {
            let mut flow = Flow::new(&free);
            for job in &jobs {
                flow.add(job.clone());
            }
            prop_assert_eq!(flow.cost(), counted_out(&jobs, &mut free.clone()));
            // No period holds more than it can, no job more than it is.
            let mut used = vec![0; free.len()];
            for (number, job) in jobs.iter().enumerate() {
                let placed: u32 = flow.placed(number).map(|(_, blocks)| blocks).sum();
                prop_assert_eq!(placed + flow.undone(number), job.blocks);
                flow.placed(number).for_each(|(period, blocks)| used[period] += blocks);
            }
            for (period, room) in free.iter().enumerate() {
                prop_assert_eq!(used[period] + flow.free(period), *room);
            }
        }

        /// One more block saves what the relief says.
        #[test]
        fn relief_is_what_one_more_block_saves(
            jobs in prop::collection::vec(any_job(3), 1..5),
            free in prop::collection::vec(0u32..3, 3),
        ) {
            let solve = |free: &[u32]| {
                let mut flow = Flow::new(free);
                jobs.iter().for_each(|job| { flow.add(job.clone()); });
                flow
            };
            let flow = solve(&free);
            for (period, saved) in flow.relief().into_iter().enumerate() {
                let mut more = free.clone();
                more[period] += 1;
                // Work that has a place may still move to a better one.
                prop_assert!(flow.cost() - solve(&more).cost() >= saved);
            }
        }
    }
}
