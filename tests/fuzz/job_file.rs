//! Job files: no panic, words for every refusal, and what is accepted comes back the same after it was written again.
use crate::{
    harness::{Checked, Outcome},
    words,
};
use std::path::Path;
use tickstrip::job::{self, Job, raw::RawJob};

/// More than any single fault needs to be understood, bytes.
const MOST_WORDS: usize = 4000;

pub fn check(input: &[u8]) -> Checked {
    let file = Path::new("/jobs/pump.json");
    let job = match job::parse(input, file) {
        Ok(job) => job,
        Err(error) => return refusal(&error),
    };
    let raw: RawJob = serde_json::from_slice(input).map_err(|e| format!("accepted, but: {e}"))?;
    let again = serde_json::to_vec(&raw).map_err(|e| format!("accepted, not written: {e}"))?;
    let again = job::parse(&again, file).map_err(|e| format!("written again, refused: {e}"))?;
    if without_checksum(&job) != without_checksum(&again) {
        return Err(format!(
            "not the same when written again: {}",
            job.title.len()
        ));
    }
    for doubt in job::doubts(&job) {
        words::check_code(doubt.code.as_str())?;
        words::check("doubt", &doubt.to_string(), MOST_WORDS)?;
    }
    Ok(Outcome::Accepted)
}

fn without_checksum(job: &Job) -> String {
    format!("{job:?}").replace(&job.blake3, "")
}

fn refusal(error: &job::Error) -> Checked {
    words::check_code(error.code())?;
    if error.faults().is_empty() {
        return Err("refused without a fault".to_owned());
    }
    for fault in error.faults() {
        words::check_code(fault.code())?;
        words::check("fault", &fault.to_string(), MOST_WORDS)?;
    }
    words::check(
        "refusal",
        &error.to_string(),
        2 * MOST_WORDS * job::MOST_FAULTS,
    )?;
    Ok(Outcome::Refused)
}
