//! The knowledge of the trade: the shipped `config/`, with the user's files
//! put over it.
//!
//! A user's file of the same relative name replaces the shipped one, a new
//! name adds to it, and an empty file takes it away. What each file holds is
//! told in `config/README.md`. All faults of all files are found in one go;
//! ids that lead nowhere are faults, but where the user took something away,
//! the shipped files that still name it are read without it.

pub mod chores;
pub mod crops;
pub mod cultivars;
pub mod diseases;
pub mod insects;
pub mod judging;
pub mod known;
pub mod lookalikes;
pub mod materials;
pub mod references;
pub mod shelf;
pub mod zones;

use super::fault::Fault;
use crate::facts::knowledge::Knowledge;
use known::{Known, Names};
use shelf::Shelf;
use std::path::Path;

/// Reads all of it; `user` is the user's config folder.
///
/// # Errors
/// Every fault of every file.
pub fn load(user: Option<&Path>) -> Result<Knowledge, Vec<Fault>> {
    load_for(user, None)
}

/// Reads all but the cultivars of other crops than those named: a command
/// that only shows the trees of a register needs no more.
///
/// # Errors
/// Every fault of every file that was read.
pub fn load_for(user: Option<&Path>, crops_kept: Option<&[&str]>) -> Result<Knowledge, Vec<Fault>> {
    on(&Shelf::open(user), crops_kept)
}

/// The same from files that were read before.
///
/// # Errors
/// Every fault of every file.
pub fn on(shelf: &Shelf, crops_kept: Option<&[&str]>) -> Result<Knowledge, Vec<Fault>> {
    let mut faults = Vec::new();
    let mut known = Known::of(shelf);
    let references = references::references(shelf, &mut faults);
    let ids = references.iter().map(|one| one.id.clone()).collect();
    known.references = Names::new("reference", ids);
    let cautions = references::cautions(shelf, &known, &mut faults);
    let ids = cautions.iter().map(|one| one.id.clone()).collect();
    known.cautions = Names::new("caution", ids);
    let crops = crops::read(shelf, &known, &mut faults);
    let diseases = diseases::read(shelf, &known, &crops, &mut faults);
    let insects = insects::read(shelf, &known, &crops, &mut faults);
    let materials = materials::read(shelf, &known, &mut faults);
    let cultivars = cultivars::read(shelf, &known, crops_kept, &mut faults);
    let chores = chores::read(shelf, &known, &crops, &mut faults);
    let (zones, leaf_fall) = zones::read(shelf, &known, &mut faults);
    let judging = judging::read(shelf, &known, &mut faults);
    let lookalikes = lookalikes::read(shelf, &known, &crops, &mut faults);
    faults.extend(shelf.faults().iter().cloned());
    if !faults.is_empty() {
        return Err(faults);
    }
    let knowledge = Knowledge {
        crops,
        cultivars,
        diseases,
        insects,
        materials,
        chores,
        zones,
        leaf_fall,
        references,
        cautions,
        lookalikes,
        judging,
        ..Knowledge::default()
    };
    Ok(knowledge.index())
}
