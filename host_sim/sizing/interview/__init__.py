"""The interview: questions, answers, resuming."""
