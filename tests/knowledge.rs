//! The shipped knowledge and its reader.

use budtide::config::knowledge;

/// The shipped knowledge, or all its faults.
fn shipped() -> budtide::facts::knowledge::Knowledge {
    match knowledge::load(None) {
        Ok(knowledge) => knowledge,
        Err(faults) => {
            let lines: Vec<String> = faults.iter().map(ToString::to_string).collect();
            panic!("{}", lines.join("\n"));
        }
    }
}

#[test]
fn the_shipped_files_have_no_fault() {
    let knowledge = shipped();
    assert_eq!(knowledge.crops.len(), 11);
    assert!(knowledge.references.len() > 300);
    assert!(knowledge.cautions.len() >= 12);
}
