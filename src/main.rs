//! Arguments in, exit code out; nothing else.

fn main() {}
