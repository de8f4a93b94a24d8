//! Small pure functions over typed quantities; each carries its formula, its source and its range of
//! validity, and refuses outside it.
