-- What a listing's owner was told of its next step, so that it falls due on its
-- day and is not argued anew each morning; and the checks that were done.

alter table listing_state
    add column step_from   bigint,
    add column step_at_age double precision,
    add column step_to     bigint,
    add column checks_from date,
    add column step_is_due boolean not null default false,
    add constraint step_whole check (step_from is not null or num_nonnulls(step_at_age, step_to, checks_from) = 0),
    add constraint step_lowers check (step_to > 0 and step_to < step_from);
comment on column listing_state.step_from is 'The ask that the plan was made at; another one ends it. Null: there is no plan.';
comment on column listing_state.step_at_age is 'Active days of the listing at which its next step falls due.';
comment on column listing_state.step_to is 'The ask of the step; null: the ask stays.';
comment on column listing_state.checks_from is 'Since when the cheap checks come before the step.';
comment on column listing_state.step_is_due is 'The listing was stale by then.';

create index event_checks on event (group_id, listing_id) where kind = 'check' and voided_by is null;
