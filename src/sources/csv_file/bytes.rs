//! From bytes to text: gzip, encoding, and what is no text at all.

use super::error::ImportError;
use super::options::Limits;
use std::borrow::Cow;
use std::io::Read;

/// How the characters were written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8.
    Utf8,
    /// UTF-8 with a byte order mark.
    Utf8Marked,
    /// Not UTF-8, so read as Latin-1 (ISO 8859-1), where any byte is a letter.
    Latin1,
}

/// A file as text.
pub(super) struct Text<'b> {
    pub text: Cow<'b, str>,
    pub packed: bool,
    pub encoding: Encoding,
    pub notes: Vec<String>,
}

const GZIP: [u8; 2] = [0x1f, 0x8b];

/// Unpacks and decodes.
pub(super) fn text<'b>(
    bytes: &'b [u8],
    name: &str,
    limits: &Limits,
) -> Result<Text<'b>, ImportError> {
    if bytes.len() as u64 > limits.bytes {
        return Err(too_large(name, limits.bytes));
    }
    let packed = bytes.starts_with(&GZIP);
    let mut notes = Vec::new();
    if !packed && name.ends_with(".gz") {
        notes.push("named .gz but not packed: read as it is".to_owned());
    }
    let plain: Cow<'b, [u8]> = if packed {
        Cow::Owned(unpack(bytes, name, limits.unpacked)?)
    } else {
        Cow::Borrowed(bytes)
    };
    refuse_what_is_no_text(&plain, name)?;
    let (text, encoding) = decode(plain);
    let text = if text.contains('\r') && !text.contains('\n') {
        notes.push("lines end with a bare carriage return".to_owned());
        Cow::Owned(text.replace('\r', "\n"))
    } else {
        text
    };
    Ok(Text {
        text,
        packed,
        encoding,
        notes,
    })
}

/// The file is over the limit.
pub(super) fn too_large(name: &str, limit: u64) -> ImportError {
    ImportError::whole(
        name,
        format!(
            "larger than {}; cut it into files by year or by station",
            size(limit)
        ),
    )
}

fn size(bytes: u64) -> String {
    if bytes >= 1 << 20 {
        format!("{} MiB", bytes >> 20)
    } else {
        format!("{bytes} bytes")
    }
}

fn unpack(bytes: &[u8], name: &str, limit: u64) -> Result<Vec<u8>, ImportError> {
    let mut plain = Vec::new();
    let decoder = flate2::bufread::MultiGzDecoder::new(bytes);
    let done = decoder
        .take(limit.saturating_add(1))
        .read_to_end(&mut plain);
    if plain.len() as u64 > limit {
        return Err(ImportError::whole(
            name,
            format!(
                "unpacks to more than {}; if that is right, unpack it and cut it into \
                 files by year or by station",
                size(limit)
            ),
        ));
    }
    match done {
        Ok(_) => Ok(plain),
        Err(error) if error.kind() == std::io::ErrorKind::UnexpectedEof => Err(ImportError::whole(
            name,
            format!(
                "the gzip file ends too early, after {} bytes of text; fetch it again",
                plain.len()
            ),
        )),
        Err(_) => Err(ImportError::whole(
            name,
            format!(
                "the gzip file is damaged after {} bytes of text; fetch it again",
                plain.len()
            ),
        )),
    }
}

fn refuse_what_is_no_text(bytes: &[u8], name: &str) -> Result<(), ImportError> {
    let refuse = |what: &str| Err(ImportError::whole(name, what));
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return refuse("written in UTF-16; save it as CSV in UTF-8");
    }
    if bytes.starts_with(b"PK\x03\x04") {
        return refuse("a zip file or a spreadsheet; unpack it, or save the sheet as CSV");
    }
    let binary = |byte: &u8| matches!(byte, 0..=8 | 14..=25 | 27..=31 | 127);
    let start = bytes.get(..bytes.len().min(1 << 16)).unwrap_or(bytes);
    if start.iter().any(binary) || bytes.contains(&0) {
        return refuse("not a text file; a weather file is text with a line of column names");
    }
    if bytes.iter().all(u8::is_ascii_whitespace) || bytes == [0xef, 0xbb, 0xbf] {
        return refuse("the file is empty");
    }
    Ok(())
}

fn decode(bytes: Cow<'_, [u8]>) -> (Cow<'_, str>, Encoding) {
    const MARK: &[u8] = &[0xef, 0xbb, 0xbf];
    let marked = bytes.starts_with(MARK);
    let skip = if marked { MARK.len() } else { 0 };
    let bytes = match bytes {
        Cow::Borrowed(bytes) => Cow::Borrowed(bytes.get(skip..).unwrap_or(bytes)),
        Cow::Owned(mut bytes) => {
            bytes.drain(..skip);
            Cow::Owned(bytes)
        }
    };
    let encoding = if marked {
        Encoding::Utf8Marked
    } else {
        Encoding::Utf8
    };
    let latin = |bytes: &[u8]| {
        bytes
            .iter()
            .map(|&byte| char::from(byte))
            .collect::<String>()
    };
    match bytes {
        Cow::Borrowed(bytes) => match std::str::from_utf8(bytes) {
            Ok(text) => (Cow::Borrowed(text), encoding),
            Err(_) => (Cow::Owned(latin(bytes)), Encoding::Latin1),
        },
        Cow::Owned(bytes) => match String::from_utf8(bytes) {
            Ok(text) => (Cow::Owned(text), encoding),
            Err(error) => (Cow::Owned(latin(error.as_bytes())), Encoding::Latin1),
        },
    }
}
