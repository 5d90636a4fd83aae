"""The station: runs recipes on units through real instruments, keeps the records, asks for the reports."""
