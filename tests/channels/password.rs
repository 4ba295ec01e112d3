//! Where passwords come from, and what is said when there is none.

use std::fs;
use std::os::unix::fs::{PermissionsExt, chown};
use std::time::Duration;

use budtide::channels::password::{Password, Secret};

use super::on_one_thread;

fn read(password: &Password) -> Result<String, String> {
    on_one_thread(password.read()).map(|secret| secret.expose().to_owned())
}

fn command(words: &[&str]) -> Password {
    Password::Command {
        words: words.iter().map(|word| (*word).to_owned()).collect(),
        limit: Duration::from_millis(1500),
    }
}

#[test]
fn a_file_must_be_the_owners_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("mail-password");
    let shown = path.display().to_string();
    fs::write(&path, " secret pass \r\nsecond line\n").unwrap();
    let file = Password::File(path.clone());
    for mode in [0o600, 0o400] {
        fs::set_permissions(&path, fs::Permissions::from_mode(mode)).unwrap();
        assert_eq!(read(&file).unwrap(), " secret pass ", "{mode:o}");
    }
    for mode in [0o640, 0o604, 0o660, 0o777] {
        fs::set_permissions(&path, fs::Permissions::from_mode(mode)).unwrap();
        assert_eq!(
            read(&file).unwrap_err(),
            format!("{shown} can be read by others (mode {mode:04o}): run `chmod 600 {shown}`")
        );
        // The service manager guards a credential's folder.
        assert!(read(&Password::Credential(path.clone())).is_ok());
    }
    fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
    if chown(&path, Some(65534), None).is_ok() {
        assert_eq!(
            read(&file).unwrap_err(),
            format!("{shown} belongs to user 65534, not to user 0, who runs this")
        );
    } else {
        eprintln!("skipped: a foreign owner can only be tried as root");
    }
}

#[test]
fn what_is_no_password_file_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let shown = folder.path().display().to_string();
    assert_eq!(
        read(&Password::File(folder.path().to_owned())).unwrap_err(),
        format!("{shown} is not a file")
    );
    assert_eq!(
        read(&Password::Credential(folder.path().join("none"))).unwrap_err(),
        format!("cannot read {shown}/none: No such file or directory (os error 2)")
    );
    let empty = folder.path().join("empty");
    fs::write(&empty, "\n").unwrap();
    assert_eq!(
        read(&Password::Credential(empty.clone())).unwrap_err(),
        format!("the credential {} is empty", empty.display())
    );
    fs::write(&empty, b"\xff\xfe").unwrap();
    assert_eq!(
        read(&Password::Credential(empty.clone())).unwrap_err(),
        format!("the credential {} is not UTF-8 text", empty.display())
    );
}

#[test]
fn a_variable_or_a_command_may_know_it() {
    let path = std::env::var("PATH").unwrap();
    assert_eq!(
        read(&Password::Environment("PATH".to_owned())).unwrap(),
        path
    );
    assert_eq!(
        read(&Password::Environment("BUDTIDE_NO_SUCH".to_owned())).unwrap_err(),
        "the environment variable BUDTIDE_NO_SUCH is not set"
    );
    // No shell: the dollar stays.
    assert_eq!(read(&command(&["echo", "a $HOME b"])).unwrap(), "a $HOME b");
    assert_eq!(
        read(&command(&[])).unwrap_err(),
        "the password command is empty"
    );
    assert_eq!(
        read(&command(&["budtide-no-such"])).unwrap_err(),
        "cannot run the password command `budtide-no-such`: No such file or directory (os error 2)"
    );
    assert_eq!(
        read(&command(&[
            "sh",
            "-c",
            "echo; echo not in the store >&2; exit 3"
        ]))
        .unwrap_err(),
        "the password command `sh` failed (exit status: 3): not in the store"
    );
    assert_eq!(
        read(&command(&["true"])).unwrap_err(),
        "what the password command `true` printed is empty"
    );
    assert_eq!(
        read(&command(&["sleep", "1000"])).unwrap_err(),
        "the password command `sleep` did not end within 1.5 s"
    );
    // More than a pipe holds, on both ends.
    let flood = "head -c 300000 /dev/zero | tr '\\0' x >&2; echo pass; head -c 300000 /dev/zero";
    assert_eq!(read(&command(&["sh", "-c", flood])).unwrap(), "pass");
}

#[test]
fn it_is_never_shown() {
    let given = Password::Given(Secret::new("secret pass".to_owned()));
    assert_eq!(format!("{given:?}"), "Given(Secret(hidden))");
}
