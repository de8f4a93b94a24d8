//! The password of a signing key: from the environment, from the terminal, or from standard input. Never from an
//! argument, which every program on the machine can read.

use std::io::{BufRead, IsTerminal, Read};

use super::Failure;

/// The environment variable that holds the password, for runs without a person.
pub(super) const VARIABLE: &str = "UNDERLID_KEY_PASSWORD";

/// A password is one line of at most this many bytes.
const LONGEST: u64 = 4096;

/// Asks for the password of a key that exists.
pub(super) fn ask() -> Result<String, Failure> {
    match given()? {
        Some(password) => Ok(password),
        None => prompt("Password of the signing key: "),
    }
}

/// Asks for the password of a new key; at a terminal twice, because nobody sees what is typed.
pub(super) fn ask_for_new() -> Result<String, Failure> {
    let password = match given()? {
        Some(password) => password,
        None => {
            let password = prompt("Password for the new key: ")?;
            if prompt("The same again: ")? != password {
                return Err(Failure::Words("the two passwords differ; no key was made".to_owned()));
            }
            password
        }
    };
    if password.is_empty() {
        let words = "an empty password protects nothing; use --no-password for a key without one";
        return Err(Failure::Words(words.to_owned()));
    }
    Ok(password)
}

/// The password where nobody is asked for it.
fn given() -> Result<Option<String>, Failure> {
    if let Some(password) = std::env::var_os(VARIABLE) {
        let not_text = |_| Failure::Words(format!("{VARIABLE} is not UTF-8 text"));
        return password.into_string().map(Some).map_err(not_text);
    }
    let stdin = std::io::stdin();
    if stdin.is_terminal() {
        return Ok(None);
    }
    let mut line = String::new();
    stdin.lock().take(LONGEST).read_line(&mut line)?;
    if line.is_empty() {
        let words =
            format!("the key needs a password; set {VARIABLE}, or give it as a line on standard input");
        return Err(Failure::Words(words));
    }
    Ok(Some(line.trim_end_matches(['\r', '\n']).to_owned()))
}

fn prompt(question: &str) -> Result<String, Failure> {
    rpassword::prompt_password(question)
        .map_err(|error| Failure::Words(format!("cannot ask for the password: {error}")))
}
