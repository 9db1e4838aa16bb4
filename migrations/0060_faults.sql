-- What people add to a diagnosis. Rows are only added; what is taken back keeps its row.

-- The instructor's word on a fault. What was said in one step is taken back in one.
create table fault_decision (
    id integer primary key,
    report integer not null references report (id) on delete cascade,
    step integer not null,
    -- The fault with its parameters, as the grade's JSON has it.
    fault text not null check (json_valid(fault)),
    verdict text not null check (verdict in ('confirmed', 'rejected')),
    -- Whether the amount is the instructor's own; else it is worked out from the report.
    amount_given integer not null check (amount_given in (0, 1)),
    made_at integer not null,
    made_by integer references person (id) on delete set null,
    undone_at integer
) strict;
create index fault_decision_by_report on fault_decision (report, id);

-- A reading that the pair was asked for beside the sheet.
create table check_answer (
    id integer primary key,
    report integer not null references report (id) on delete cascade,
    reading text not null,
    -- As it was typed.
    value text not null,
    answered_at integer not null,
    answered_by integer references person (id) on delete set null,
    undone_at integer
) strict;
create index check_answer_by_report on check_answer (report, id);
