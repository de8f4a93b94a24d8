//! The page on the bench.
use super::Bench;

/// Who can reach the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reach {
    /// Programs on this machine.
    ThisMachine,
    /// The local network.
    Network,
}

/// Serves.
///
/// # Errors
/// io
pub fn serve(_bench: Bench, _reach: Reach, _port: u16) -> std::io::Result<()> {
    Ok(())
}
