/* A charger to start from: it hears the controllers of its packs. It is attached as
 * lib:./libcharger.so: see README.md.
 *
 * It follows what all packs together ask for while every message is fresh, rises by the slopes that
 * are set, and stops when a message is old. Fallback, breaks in time and the compensation of the line
 * are yours to write, where TODO stands. The page "The charger that listens" of the documentation
 * says what each of them must do.
 *
 * For a test bench. Nothing here is safe to connect to a battery. */
#define FULLPROOF_CHARGER_EXPORTS
#include "fullproof.h"

#include <stdbool.h>
#include <stddef.h>

#define MOST_PACKS 8

static fullproof_charger_settings set;

/* What is lost with the power: everything. */
static struct {
    uint8_t state;
    bool stepped;         /* a sample with a stamp has come */
    uint32_t last_ms;     /* its stamp */
    bool fresh;           /* every message has been fresh */
    uint32_t fresh_since; /* since then */
    fullproof_real base_v, limit_a;
    struct {
        fullproof_real request_v, request_a; /* in force: of the last good message */
        double age_s;                        /* its age; negative before there was one */
    } packs[MOST_PACKS];
} now;

const fullproof_charger_description *fullproof_charger_describe(void) {
    static const fullproof_charger_description me = {
        "my charger",
        "0.1",
        "C",
        NULL, /* or the settings that it was built with */
    };
    return &me;
}

void fullproof_charger_power_cycle(void) {
    uint32_t p;
    now.state = FULLPROOF_CHARGER_STOPPED;
    now.stepped = now.fresh = false;
    now.base_v = set.fallback_v;
    now.limit_a = 0;
    for (p = 0; p < set.packs; p++) now.packs[p].age_s = -1;
}

const char *fullproof_charger_start(const fullproof_charger_settings *settings) {
    if (settings->packs > MOST_PACKS) return "there is room for 8 packs";
    set = *settings;
    fullproof_charger_power_cycle();
    return NULL;
}

static bool good(const fullproof_message *m) {
    const uint32_t needed = FULLPROOF_MESSAGE_VALID_REQUEST_V | FULLPROOF_MESSAGE_VALID_REQUEST_A |
                            FULLPROOF_MESSAGE_VALID_AGE;
    return (m->valid & needed) == needed && m->request_v >= set.plausible_v[0] &&
           m->request_v <= set.plausible_v[1] && m->request_a >= 0 && m->request_a <= set.plausible_a &&
           m->age_s >= 0 && m->age_s <= set.stale_s;
}

/* Take the messages; tells whether every pack has been heard and none of them is old. */
static bool hear(const fullproof_message *messages, double passed_s) {
    bool fresh = true;
    uint32_t p;
    for (p = 0; p < set.packs; p++) {
        const fullproof_message *m = &messages[p];
        if (now.packs[p].age_s >= 0) now.packs[p].age_s += passed_s;
        if (good(m)) { /* one that is not good does exactly what silence does */
            now.packs[p].request_v = m->request_v;
            now.packs[p].request_a = m->request_a;
            if (!(now.packs[p].age_s >= 0 && now.packs[p].age_s < m->age_s)) now.packs[p].age_s = m->age_s;
        }
        fresh = fresh && now.packs[p].age_s >= 0 && now.packs[p].age_s <= set.stale_s;
    }
    return fresh;
}

/* The lowest voltage that a pack asks for, and the sum of the currents: 0 where a pack asks for 0. */
static void ask(fullproof_real *voltage_v, fullproof_real *current_a) {
    bool none = false;
    uint32_t p;
    *voltage_v = set.highest_v;
    *current_a = 0;
    for (p = 0; p < set.packs; p++) {
        if (now.packs[p].request_v < *voltage_v) *voltage_v = now.packs[p].request_v;
        *current_a += now.packs[p].request_a;
        none = none || now.packs[p].request_a == 0;
    }
    if (none) *current_a = 0;
    if (*current_a > set.highest_a) *current_a = set.highest_a;
}

static void follow(double passed_s) {
    fullproof_real voltage_v, current_a;
    ask(&voltage_v, &current_a);
    /* Down at once, up by the slope. */
    now.base_v += (fullproof_real)(set.raise_v_per_s * passed_s);
    now.limit_a += (fullproof_real)(set.raise_a_per_s * passed_s);
    if (now.base_v > voltage_v) now.base_v = voltage_v;
    if (now.limit_a > current_a) now.limit_a = current_a;
}

void fullproof_charger_step(const fullproof_charger_sample *sample, const fullproof_message *messages,
                            fullproof_charger_output *output) {
    if (sample->valid & FULLPROOF_CHARGER_VALID_TIME) {
        /* Differences of 32-bit stamps are right across the wrap of the counter. */
        double passed_s = now.stepped ? (uint32_t)(sample->time_ms - now.last_ms) / 1000.0 : 0;
        bool fresh = hear(messages, passed_s); /* TODO: a gap, or a clock that is set back, is a break */
        if (fresh && !now.fresh) now.fresh_since = sample->time_ms;
        now.fresh = fresh;
        if (!fresh) now.state = FULLPROOF_CHARGER_STOPPED; /* TODO: fallback, until a pack is silent */
        else if ((uint32_t)(sample->time_ms - now.fresh_since) >= (uint32_t)(1000 * set.steady_s))
            now.state = FULLPROOF_CHARGER_FOLLOWING;
        if (now.state == FULLPROOF_CHARGER_FOLLOWING) follow(passed_s);
        else {
            now.limit_a = 0;
            if (now.base_v > set.fallback_v) now.base_v = set.fallback_v;
        }
        now.stepped = true;
        now.last_ms = sample->time_ms;
    }
    output->set_point_v = now.base_v; /* TODO: compensation of the line */
    output->limit_a = now.limit_a;
    output->state = now.state;
}
