"""Parse words, call a job, print."""
