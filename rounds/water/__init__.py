"""The arithmetic of sea water; numpy and what builds on it load on first use only."""
