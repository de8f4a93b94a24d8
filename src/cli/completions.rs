//! `completions`: completion scripts for shells.

use clap::CommandFactory;
use clap_complete::Shell;

use super::{Arguments, Done, Failure};

#[derive(Debug, clap::Args)]
pub(super) struct Completions {
    /// The shell
    shell: Shell,
}

impl Completions {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let mut script = Vec::new();
        clap_complete::generate(self.shell, &mut Arguments::command(), "underlid", &mut script);
        std::io::Write::write_all(&mut std::io::stdout().lock(), &script)?;
        Ok(Done::Well)
    }
}
