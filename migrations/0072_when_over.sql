-- What happens when the time for keeping the names of an archived class is over: nothing until a person does it, the names
-- are taken out, or the students are deleted.
alter table class add column when_over text not null default 'ask' check (when_over in ('ask', 'names', 'delete'));
