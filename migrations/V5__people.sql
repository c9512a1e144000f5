-- Who may sign in to the pages. What happened is in the log (person-set,
-- person-left, signed-in, sign-in-ended); this is how it stands, with the
-- secrets, which never enter an entry.
create table person (
    person_id integer primary key,
    name      text not null unique,  -- as jobs and entries name the person
    roles     text not null check (length(roles) > 0), -- installer, foreman, desk, office: with spaces between
    secret    text not null,         -- argon2id in PHC form; never the passphrase
    units     text not null check (units in ('us', 'metric')),
    language  text not null check (language in ('en', 'es')),
    since_at  text not null,         -- RFC 3339 with offset
    left_at   text                   -- since when the person may no longer sign in
) strict;

-- A code that makes one person, or pairs one device of a person, once.
create table invitation (
    code_sha256 text primary key check (length(code_sha256) = 64),
    person_id   integer references person (person_id), -- whose device is paired; none for a new person
    roles       text not null,
    until_ms    integer not null,    -- milliseconds since 1970-01-01T00:00:00Z
    used_ms     integer              -- none while it is open
) strict;

-- Browsers that are signed in.
create table sign_in (
    sign_in_id   integer primary key,
    token_sha256 text not null unique check (length(token_sha256) = 64),
    person_id    integer not null references person (person_id),
    device       text not null,      -- what the person calls it
    paired       integer not null check (paired in (0, 1)), -- by a code, and for longer
    since_ms     integer not null,
    seen_ms      integer not null,
    until_ms     integer not null,   -- ends by itself
    ended_ms     integer             -- ended by somebody
) strict;
create index sign_in_by_person on sign_in (person_id);
