"""All that is drawn on a terminal. Text of books and transcripts is never read as markup."""
