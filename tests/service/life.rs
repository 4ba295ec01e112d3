//! The user service under a real `systemd --user`, in namespaces of its own.

use super::{BUDTIDE, script};
use std::os::unix::fs::{PermissionsExt, chown};
use std::process::Command;

#[test]
fn installed_watched_reloaded_and_removed_under_systemd() {
    // Another user runs it there, who must reach program and scripts.
    let home = tempfile::Builder::new()
        .prefix("budtide-home-")
        .tempdir_in("/tmp")
        .unwrap();
    let program = home.path().join("budtide");
    std::fs::copy(BUDTIDE, &program).unwrap();
    let life = home.path().join("life");
    std::fs::copy(script("life"), &life).unwrap();
    for path in [home.path(), program.as_path(), life.as_path()] {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o755)).unwrap();
        if chown(path, Some(1999), Some(1999)).is_err() {
            println!("skipped: root is needed for a user manager of its own");
            return;
        }
    }
    let output = Command::new(script("user-manager"))
        .arg(home.path())
        .args([&life, &program])
        .output()
        .unwrap();
    let said = format!(
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    if output.status.code() == Some(77) {
        // A machine may forbid namespaces or control groups even to root.
        println!("skipped: {said}");
        return;
    }
    println!("{said}");
    assert!(
        output.status.success() && said.contains("all steps passed"),
        "{said}"
    );
}

#[test]
fn the_shipped_unit_has_no_fault_that_systemd_knows() {
    let home = tempfile::tempdir().unwrap();
    let bin = home.path().join(".local/bin");
    std::fs::create_dir_all(&bin).unwrap();
    std::fs::copy(BUDTIDE, bin.join("budtide")).unwrap();
    let unit = home.path().join("budtide.service");
    std::fs::copy(
        concat!(env!("CARGO_MANIFEST_DIR"), "/systemd/budtide.service"),
        &unit,
    )
    .unwrap();
    let analyze = |arguments: &[&str]| {
        Command::new("systemd-analyze")
            .arg("--user")
            .args(arguments)
            .arg(&unit)
            .env("HOME", home.path())
            .env("XDG_RUNTIME_DIR", home.path())
            .output()
    };
    let Ok(verified) = analyze(&["verify", "--man=no", "--recursive-errors=no"]) else {
        println!("skipped: there is no systemd-analyze");
        return;
    };
    let said = String::from_utf8_lossy(&verified.stderr).into_owned();
    assert!(verified.status.success(), "{said}");
    // On an unknown key it only warns.
    assert!(!said.contains("budtide.service"), "{said}");
    let secure = analyze(&["security", "--offline=true", "--threshold=70", "--no-pager"]).unwrap();
    assert!(
        secure.status.success(),
        "{}",
        String::from_utf8_lossy(&secure.stdout)
    );
}
