//! Published compatibility: sweet cherry S-genotypes (Schuster 2020), apples
//! without useful pollen (University of Maine), plums by kind (University of
//! Minnesota, Iowa State University), Bartlett and Seckel (Maine).

use super::demo;
use budtide::facts::knowledge::{Cultivar, Knowledge, SelfFertile};
use budtide::plan::pollination::{Pair, alleles_fail, need, outlook, pair};

/// Lines of the table of Schuster 2020: one line does not pollinate itself.
const GROUPS: [(&str, &[&str]); 12] = [
    ("S1S2", &["Black Tartarian", "Early Rivers", "Summit"]),
    ("S1S3", &["Cristalina", "Regina", "Van", "Venus", "Windsor"]),
    (
        "S3S4",
        &[
            "Bing",
            "Emperor Francis",
            "Kristin",
            "Lambert",
            "Napoleon",
            "Somerset",
            "Ulster",
        ],
    ),
    ("S2S3", &["Cavalier", "Vega", "Victor", "Viva", "Vogue"]),
    ("S3S6", &["Andersen", "Hartland", "Kordia"]),
    ("S3S5", &["Hedelfingen"]),
    ("S2S5", &["Vista"]),
    ("S1S4", &["Hudson", "Rainier", "Viscount"]),
    ("S2S4", &["Royalton", "Sam", "Schmidt", "Vic"]),
    ("S1S5", &["Valera"]),
    ("S3S9", &["Burlat", "Chelan", "Tieton"]),
    ("S1S6", &["BlushingGold", "Nugent"]),
];

const SELF_COMPATIBLE: [&str; 10] = [
    "Benton",
    "BlackGold",
    "Lapins",
    "Santina",
    "Skeena",
    "Sonata",
    "Stella",
    "Sunburst",
    "Sweetheart",
    "WhiteGold",
];

fn named<'k>(knowledge: &'k Knowledge, crop: &str, name: &str) -> &'k Cultivar {
    knowledge
        .cultivar(crop, name)
        .unwrap_or_else(|| panic!("{name}"))
}

#[test]
fn cherries_of_one_line_fail_and_of_two_serve() {
    let knowledge = demo().knowledge;
    let cherry = |name: &str| named(&knowledge, "sweet-cherry", name);
    for (at, (genotype, names)) in GROUPS.iter().enumerate() {
        for of in *names {
            let own = cherry(of).s_alleles.as_ref().unwrap();
            assert_eq!(own.0, *genotype, "{of}");
            for (other, (_, donors)) in GROUPS.iter().enumerate() {
                for donor in donors.iter().filter(|donor| donor != &of) {
                    let found = pair(cherry(of), cherry(donor));
                    assert_eq!(found == Pair::SameAlleles, at == other, "{of} by {donor}");
                }
            }
            for donor in SELF_COMPATIBLE {
                assert_ne!(
                    pair(cherry(of), cherry(donor)),
                    Pair::SameAlleles,
                    "{donor}"
                );
            }
        }
    }
    for name in SELF_COMPATIBLE {
        let found = need(&knowledge, "sweet-cherry", Some(cherry(name)));
        assert_eq!(found.self_fertile, Some(SelfFertile::Yes), "{name}");
        let own = &cherry(name).s_alleles.as_ref().unwrap().0;
        assert!(own.contains("S4'"), "{name}");
    }
    assert!(!alleles_fail("S3S4", "S3S4'"));
}

#[test]
fn apples_without_useful_pollen_serve_nobody_and_take_two() {
    let knowledge = demo().knowledge;
    let liberty = named(&knowledge, "apple", "Liberty");
    for name in [
        "Baldwin",
        "Boskoop",
        "Bramley's Seedling",
        "Creston",
        "Gravenstein",
        "Jonagold",
        "Mutsu",
        "Rhode Island Greening",
        "Roxbury Russet",
        "Shizuka",
        "Spigold",
        "Stayman",
        "Winesap",
    ] {
        let poor = named(&knowledge, "apple", name);
        assert_eq!(pair(liberty, poor), Pair::PoorPollen, "{name}");
        assert_eq!(need(&knowledge, "apple", Some(poor)).partners, 2, "{name}");
        assert!(pair(poor, liberty).may_serve(), "{name}");
    }
    assert_eq!(need(&knowledge, "apple", Some(liberty)).partners, 1);
    assert_eq!(pair(liberty, liberty), Pair::Same);
}

/// varieties.md, section 8 (from memory): a sport is its parent to pollen.
#[test]
fn sports_of_one_cultivar_do_not_serve_each_other() {
    let knowledge = demo().knowledge;
    let apple = |name: &str| named(&knowledge, "apple", name);
    for (sport, parent) in [("Haralred", "Haralson"), ("Connell Red", "Fireside")] {
        assert_eq!(pair(apple(sport), apple(parent)), Pair::Same, "{sport}");
        assert_eq!(pair(apple(parent), apple(sport)), Pair::Same, "{sport}");
        assert!(pair(apple(sport), apple("Liberty")).may_serve(), "{sport}");
    }
    // Two sports of one are the same as well.
    let sport = |name: &str| Cultivar {
        name: name.to_owned(),
        ..apple("Haralred").clone()
    };
    assert_eq!(pair(&sport("One"), &sport("Other")), Pair::Same);
}

#[test]
fn plums_go_by_kind_and_pears_by_name() {
    let facts = demo();
    let plum = |name: &str| named(&facts.knowledge, "japanese-plum", name);
    let european = named(&facts.knowledge, "european-plum", "Stanley");
    assert_eq!(pair(plum("Shiro"), european), Pair::Never);
    assert_eq!(pair(plum("Alderman"), plum("Toka")), Pair::Serves);
    assert!(pair(plum("Alderman"), plum("Superior")).may_serve());
    assert_eq!(pair(plum("Alderman"), plum("Methley")), Pair::NotNamed);
    assert!(pair(plum("Shiro"), plum("Methley")).may_serve());
    let pear = |name: &str| named(&facts.knowledge, "pear", name);
    assert_eq!(pair(pear("Bartlett"), pear("Seckel")), Pair::Never);
    assert_eq!(pair(pear("Seckel"), pear("Bartlett")), Pair::Never);
    assert!(pair(pear("Harrow Sweet"), pear("Bartlett")).may_serve());
    for (crop, name) in [
        ("japanese-plum", "AU-Rosa"),
        ("japanese-plum", "AU-Producer"),
        ("tart-cherry", "Montmorency"),
    ] {
        let one = named(&facts.knowledge, crop, name);
        let found = need(&facts.knowledge, crop, Some(one)).self_fertile;
        assert_eq!(found, Some(SelfFertile::Yes), "{name}");
    }
}

#[test]
fn a_missing_partner_is_a_gap_and_an_unknown_one_is_not() {
    let mut facts = demo();
    facts
        .register
        .trees
        .retain(|tree| ["F1", "F2"].contains(&tree.id.as_str()));
    let knowledge = facts.knowledge.clone();
    let bing = named(&knowledge, "sweet-cherry", "Bing");
    let alone = outlook(
        &facts,
        "sweet-cherry",
        Some(bing),
        Some(("F", 1)),
        Some("F1"),
    );
    assert!(alone.gap());
    assert_eq!(alone.partners[0].pair, Pair::SameAlleles);
    facts.register.trees[1].cultivar = Some("Grandmother's".into());
    let open = outlook(
        &facts,
        "sweet-cherry",
        Some(bing),
        Some(("F", 1)),
        Some("F1"),
    );
    assert!(!open.gap() && open.open() && open.serving() == 0);
    // Beyond the distance in which bees carry it is a gap again.
    facts.register.trees[1].cultivar = Some("Black Tartarian".into());
    facts.register.trees[1].spot = Some(9);
    let far = outlook(
        &facts,
        "sweet-cherry",
        Some(bing),
        Some(("F", 1)),
        Some("F1"),
    );
    assert!(far.gap() && !far.partners[0].near);
}

#[test]
fn of_many_trees_of_a_cultivar_the_nearest_counts() {
    let mut facts = demo();
    let trees = &mut facts.register.trees;
    trees.retain(|tree| ["F1", "F2", "F3", "F4"].contains(&tree.id.as_str()));
    assert_eq!(trees.len(), 4);
    for (tree, spot) in trees.iter_mut().zip([1, 9, 3, 5]) {
        tree.crop = "sweet-cherry".into();
        tree.cultivar = Some("Black Tartarian".into());
        (tree.row, tree.spot) = (Some("F".into()), Some(spot));
    }
    let knowledge = facts.knowledge.clone();
    let bing = named(&knowledge, "sweet-cherry", "Bing");
    let here = |facts: &_, row| {
        outlook(
            facts,
            "sweet-cherry",
            Some(bing),
            Some((row, 1)),
            Some("F1"),
        )
    };
    let found = here(&facts, "F");
    assert_eq!(found.partners.len(), 1);
    assert_eq!(found.partners[0].tree, "F3");
    assert!(found.partners[0].near && found.serving() == 1);
    // A row is the same row in small letters.
    assert_eq!(here(&facts, "f"), found);
    // One that may stand anywhere counts as near, where all others are far.
    for (tree, spot) in facts.register.trees.iter_mut().zip([1, 90, 30, 50]) {
        tree.spot = Some(spot);
    }
    assert!(here(&facts, "F").gap());
    facts.register.trees[3].spot = None;
    let open = here(&facts, "F");
    assert!(!open.gap() && open.partners[0].tree == "F4");
}
