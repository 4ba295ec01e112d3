//! `test-message`: one message by every way that the settings ask for, and
//! what came of it in plain words.

use super::answer::{Output, Refusal};
use super::{Common, FAILED, folders};
use crate::channels::ChannelError;
use crate::clock;
use crate::config;
use crate::render::message::{Message, Urgency};
use crate::service::post;
use serde_json::json;
use std::process::ExitCode;

/// Sends it; the exit code is 1 if a way failed.
pub fn run(common: &Common) -> Result<(Output, ExitCode), Refusal> {
    let folders = folders(common)?;
    let settings = config::load(&folders.config).map_err(|faults| Refusal::of_files(faults, ""))?;
    let asked = &settings.delivery;
    if !asked.desktop && asked.email.is_none() {
        let text = "no way to tell you is set up: place.toml has [desktop] show = false and no \
                    [email]; the service would write into its log alone";
        return Err(text.to_owned().into());
    }
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| format!("the system refuses what waiting needs: {error}"))?;
    let now = clock::now();
    let written = now.with_timezone(&settings.place.time_zone).fixed_offset();
    let mut post = post::open(asked);
    let message = message(&settings.place.name, now.timestamp());
    let mut lines = Vec::new();
    let mut failed = !post.troubles.is_empty();
    let mut ways = Vec::new();
    for trouble in &post.troubles {
        lines.extend(told("e-mail", trouble));
        ways.push(json!({"way": "e-mail", "sent": false, "error": trouble.to_string()}));
    }
    for channel in &mut post.channels {
        let name = channel.name();
        match runtime.block_on(channel.send(&message, written)) {
            Ok(sent) => {
                ways.push(json!({
                    "way": name, "sent": true, "to": sent.to, "without": sent.without,
                }));
                lines.push(format!("{name}: sent to {}.", sent.to));
                if let Some(without) = sent.without {
                    lines.extend(crate::render::page::wrap(&without, "  ", "  "));
                }
            }
            Err(error) => {
                failed = true;
                ways.push(json!({"way": name, "sent": false, "error": error.to_string()}));
                lines.extend(told(name, &error));
            }
        }
    }
    runtime.shutdown_timeout(std::time::Duration::from_millis(300));
    let code = if failed { FAILED } else { 0 };
    let value = json!({ "ways": ways });
    Ok((Output::Both { lines, value }, ExitCode::from(code)))
}

fn told(name: &str, error: &ChannelError) -> Vec<String> {
    let mut lines = vec![format!("{name}: NOT sent.")];
    lines.extend(crate::render::page::wrap(&error.to_string(), "  ", "  "));
    lines
}

fn message(place: &str, moment: i64) -> Message {
    let text = format!(
        "This is a test from budtide for {place}. If you read it, messages reach you this way.\n\n\
         Nothing is to be done.\n"
    );
    Message {
        key: format!("test-{moment}"),
        thread: "test".to_owned(),
        urgency: Urgency::Normal,
        title: "budtide: a test message".to_owned(),
        html: format!(
            "<p>This is a test from budtide for {}. If you read it, messages reach you this \
             way.</p><p>Nothing is to be done.</p>",
            place
                .replace('&', "&amp;")
                .replace('<', "&lt;")
                .replace('>', "&gt;")
        ),
        text,
        calendar: None,
        actions: Vec::new(),
    }
}
