-- What was said, where the person who is drilled wants it kept: FLAC (RFC 9639) in Base64 (RFC 4648). It goes with the answer.
CREATE TABLE sounds (
    answer INTEGER PRIMARY KEY REFERENCES answers (seq) ON DELETE CASCADE,
    sound  TEXT NOT NULL
);
