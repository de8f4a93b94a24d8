//! `fill`: fill the record in at the bench, in a terminal or on a page for a phone.

use std::io::IsTerminal;
use std::path::PathBuf;

use super::{Done, Failure, House};
#[cfg(feature = "page")]
use crate::fill::page::{self, Reach};
use crate::fill::terminal::{WalkError, Ways, Wrapped, walk};
use crate::fill::{FillError, FillSession};
use crate::units::terminal;

#[derive(Debug, clap::Args)]
#[command(after_help = "\
In the terminal one question comes at a time: first those that settle most with the least effort, then section by \
section in the order in which a lid comes off; `help` at a question shows what may be typed. Answers may come through a pipe, one a line. Every answer is in inspection.toml before it is confirmed.\n\n\
--page serves the same questions to a browser. It can be reached from this machine only, unless --open-to-network is \
given; then every device needs a pairing code, which this terminal shows once for each. The page speaks plain HTTP: on \
a local network it can be overheard, and whoever overhears it can read and write the record. Use a network of your own, \
such as the phone's hotspot, and stop the page when the work is done. A build with the feature `tls` serves the network \
by TLS, with a key that it makes at the first start.\n\n\
An opened pack can hurt you: it cannot be switched off. Isolate it, take off rings, cover what is live, use insulated \
tools, wear eye protection, do not work alone. Local codes and licensed practice come first.")]
pub(super) struct Fill {
    /// The inspection folder
    folder: PathBuf,
    /// Serve a page for a phone or tablet in place of asking in the terminal
    #[arg(long)]
    page: bool,
    /// Let other devices of the local network reach the page, each with a one-time pairing code
    #[arg(long, requires = "page")]
    open_to_network: bool,
    /// Port of the page; 0 takes a free one
    #[arg(long, default_value_t = 8024, requires = "page")]
    port: u16,
    /// Ask section by section from the start, without the first look
    #[arg(long, conflicts_with = "page")]
    sections: bool,
    /// Leave out why and how to look
    #[arg(long)]
    brief: bool,
    /// The checklist, in place of the one for the record's kind of pack
    #[arg(long, value_name = "KIND")]
    kind: Option<String>,
    /// A house checklist, read after those of the inspection; may be given several times
    #[arg(long = "checklist", value_name = "FILE")]
    checklists: Vec<PathBuf>,
    #[command(flatten)]
    house: House,
}

impl From<FillError> for Failure {
    fn from(error: FillError) -> Self {
        match error {
            FillError::Open(open) => open.into(),
            other => Self::Words(other.to_string()),
        }
    }
}

impl Fill {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        #[cfg(not(feature = "page"))]
        if self.page {
            return Err(super::left_out("fill --page", "page"));
        }
        let session =
            FillSession::open(&self.folder, &self.house.of()?, &self.checklists, self.kind.as_deref())?;
        #[cfg(feature = "page")]
        if self.page {
            let reach = if self.open_to_network { Reach::Network } else { Reach::ThisMachine };
            page::serve(session, reach, self.port, super::settings::folder().as_deref())
                .map_err(|error| Failure::Words(error.to_string()))?;
            return Ok(Done::Well);
        }
        let piped = !std::io::stdin().is_terminal();
        // In a pipe no width is known, and every line stays whole.
        let columns = || terminal_size::terminal_size().map(|(width, _)| usize::from(width.0));
        let out =
            Wrapped::new(terminal::out(), if std::io::stdout().is_terminal() { columns } else { || None });
        let summary = walk(
            &session,
            &mut std::io::stdin().lock(),
            out,
            Ways { brief: self.brief, sections: self.sections },
        );
        let summary = match summary {
            Ok(summary) => summary,
            Err(WalkError::Io(error)) => return Err(error.into()),
            Err(WalkError::Fill(error)) => return Err(error.into()),
        };
        // A person has seen the refusal; a script must not take it for success.
        if piped && summary.refused > 0 {
            return Err(Failure::Words(format!(
                "{} of the lines were refused; the rest is saved",
                summary.refused
            )));
        }
        Ok(Done::Well)
    }
}
