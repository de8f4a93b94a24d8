//! Photos, logs and hashes: what ties a claim in the write-up to a file that anyone can check.
