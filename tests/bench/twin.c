/* The kernel's arithmetic once more, in C: the same rows, the same tick, a proportional law, figures included.

   A yardstick for speed and a second opinion on the sums; twin.py builds it, checks it against the kernel and prints
   the ratio. `rows.h` holds the numbers of arena/plant/layout.py. Compiled for the machine at hand with explicit
   fused multiply-adds and no others, so that both sides do the same roundings where it matters for speed. */
#include <math.h>
#include "rows.h"

#define L LANES
#define AT(row) S[(row) * L + n]
#define LANE_LOOP _Pragma("GCC ivdep") for (long n = 0; n < L; n++)
#define INLINE static inline __attribute__((always_inline))

typedef double *restrict Rows;
typedef const double *restrict Given;

INLINE double least(double a, double b) { return b < a ? b : a; }
INLINE double most(double a, double b) { return b > a ? b : a; }

INLINE void law(Rows S)
{
    LANE_LOOP {
        double iat = AT(READING) - 273.15, start = AT(SETTINGS), full = AT(SETTINGS + 1);
        double floor_ = 0.01 * AT(SETTINGS + 2), below = start - AT(SETTINGS + 3);
        double running = iat >= start ? 1.0 : (iat < below ? 0.0 : AT(MEMORY));
        double asked = floor_ + (1.0 - floor_) * least(most((iat - start) / (full - start), 0.0), 1.0);
        AT(MEMORY) = running;
        AT(DUTY) = iat > -39.9 && iat < 149.0 ? running * asked : AT(FAILSAFE);
    }
}

INLINE void actuate(Rows S, Given x, Given P)
{
    double key = x[X_KEY] > 0.0, off_s = x[X_KEY_OFF_S], step = P[P_DUTY_STEP];
    double slow = x[X_SPEED] <= P[P_QUIET_KMH], delay = P[P_DELAY], soft_step = P[P_SOFT], scored = x[X_SCORED];
    LANE_LOOP {
        double asked = AT(DUTY);
        asked = asked >= 0.0 && asked <= 1.0 ? asked : 0.0;
        double top = slow > 0.0 ? least(AT(QUIET_CAP), 1.0) : 1.0;
        asked = least(asked, top) * (key > 0.0 || off_s < AT(RUN_ON_S) ? 1.0 : 0.0);
        double fine = most(step, 1e-9), whole = floor(least(asked / fine + 0.5, top / fine + 1e-9)) * fine;
        asked = step > 0.0 && AT(IS_PWM) > 0.0 ? least(whole, top) : asked;
        double on = asked > 0.0 ? 1.0 : 0.0, started = on * (1.0 - AT(WAS_ON));
        AT(WAS_ON) = on;
        AT(STARTS) += started * scored;
        double wait = started > 0.0 ? delay : most(AT(DELAY) - 1.0, 0.0);
        AT(DELAY) = wait;
        double given = wait < 1.0 ? asked : 0.0, soft = least(given, AT(APPLIED) + soft_step);
        AT(APPLIED) = AT(IS_PWM) > 0.0 ? soft : given;
    }
}

INLINE void look_up_duty(Rows S, Given table)
{
    LANE_LOOP {
        double place = AT(APPLIED) * (DUTY_ROWS - 1.000001);
        int d = (int)place;
        double u = place - d;
        const double *t = table + 4 * d;
        double moving = fma(u, t[4] - t[0], t[0]), at_rest = fma(u, t[7] - t[3], t[3]);
        AT(VOLTS_RATIO) = AT(OMEGA) > 1.0 ? moving : at_rest;
        AT(AMPS_RATIO) = fma(u, t[5] - t[1], t[1]);
        AT(SPEED_SHARE) = fma(u, t[6] - t[2], t[2]);
    }
}

INLINE void motor(Rows S, Given x, Given P)
{
    double supply = x[X_SUPPLY], resistance = P[P_RESISTANCE], ke = P[P_KE], brush = P[P_BRUSH];
    double friction = P[P_FRICTION], lead = P[P_LEAD], start_a = P[P_START_A];
    double spin_mean = P[P_SPIN_MEAN], spin_new = 1.0 - P[P_SPIN_K];
    LANE_LOOP {
        double duty = AT(APPLIED), pwm = AT(IS_PWM), old = AT(OMEGA);
        double through = duty > 0.5001 ? AT(OHM_B) : AT(OHM_A);
        double series = (1.0 - pwm) * (duty > 0.999 ? 0.0 : through);
        double volts = supply * (pwm * duty * AT(VOLTS_RATIO) + (1.0 - pwm)) - brush;
        double total = resistance + lead * (pwm * duty + (1.0 - pwm)) + series;
        double per_ohm = 1.0 / total, a = ke * volts * per_ohm - friction, b = ke * ke * per_ohm;
        double goal = 2.0 * a / (b + sqrt(most(b * b + 4.0 * a * AT(TORQUE_C), 0.0)));
        double breaks_away = old > 1.0 ? 1.0 : (volts >= start_a * total ? 1.0 : 0.0), on = duty > 0.0 ? 1.0 : 0.0;
        goal = most(goal, 0.0) * breaks_away * on;
        double mean = goal + (old - goal) * spin_mean, new = goal + (old - goal) * spin_new;
        double moving = most(goal >= 1.0 ? 1.0 : 0.0, new >= 1.0 ? 1.0 : 0.0);
        double speed = mean * moving, omega = new * moving;
        double current = on * most((volts - ke * speed) * per_ohm, 0.0);
        AT(OMEGA) = omega;
        AT(SPEED) = speed;
        AT(CURRENT) = current;
        AT(BATTERY_A) = current * (pwm * duty * AT(AMPS_RATIO) + (1.0 - pwm));
        AT(MOTOR_V) = on * (volts + brush - current * (total - resistance));
        AT(RESISTOR_W) = current * current * series;
        AT(STALL) = on * (omega == 0.0 ? 1.0 : 0.0) * (AT(DELAY) < 1.0 ? 1.0 : 0.0) * (AT(STALL) + 1.0);
    }
}

INLINE void look_up_flow(Rows S, Given P, Given flow_table, Given exchanger_table)
{
    double per_speed = 1.0 / P[P_SPEED_STEP], per_temp = 1.0 / P[P_TEMP_STEP], temp_0 = P[P_TEMP_0];
    double per_flow = 1.0 / P[P_FLOW_STEP], volume_c = P[P_VOLUME_C];
    LANE_LOOP {
        double place_x = least(most((AT(LINK) - temp_0) * per_temp, 0.0), TEMP_COLUMNS - 1.000001);
        double place_y = least(most(AT(SPEED) * per_speed, 0.0), SPEED_ROWS - 1.000001);
        int j = (int)place_x, i = (int)place_y;
        double v = place_x - j, u = place_y - i;
        const double *near = flow_table + 2 * (i * TEMP_COLUMNS + j), *far = near + 2 * TEMP_COLUMNS;
        double f0 = fma(u, far[0] - near[0], near[0]), c0 = fma(u, far[1] - near[1], near[1]);
        double f1 = fma(u, far[2] - near[2], near[2]), c1 = fma(u, far[3] - near[3], near[3]);
        AT(FLOW) = fma(v, f1 - f0, f0);
        AT(TORQUE_C) = fma(v, c1 - c0, c0);
        if (AT(LINK) < P[P_FREEZE]) {
            AT(FLOW) = 0.0;
            AT(TORQUE_C) = 1e4;
        }
    }
    LANE_LOOP {
        double flow = AT(FLOW), place = least(most(flow * per_flow, 0.0), FLOW_ROWS - 1.000001);
        int i = (int)place;
        double u = place - i;
        const double *t = exchanger_table + 4 * i;
        AT(FLOW_C) = flow * volume_c;
        AT(CORE_G) = fma(u, t[4] - t[0], t[0]);
        AT(CORE_E) = fma(u, t[5] - t[1], t[1]);
        AT(FRONT_G) = fma(u, t[6] - t[2], t[2]);
        AT(FRONT_E) = fma(u, t[7] - t[3], t[3]);
    }
}

/* A sweep's cells are written out by the compiler and stay in registers; lanes are the vector. */
#define WEIGHTS(g, e, f, air, heat, cm, cw)                                                                           \
    double a1 = cm + air + g, a2 = cw + g + e, back = g - f + e, twice = 2.0 / (a1 * a2 - g * back);                   \
    double half = 0.5 * twice, gives = twice * g;                                                                      \
    double wa = twice * a2 * cm - 1.0, wb = twice * back * cw, wc = half * (a2 * (f - e) + back * e);                  \
    double wd = twice * a2 * heat, we = gives * cm, wf = twice * a1 * cw, wg = half * (a1 * e + g * (f - e));           \
    double wh = gives * heat

#define PAIR(metal_row, coolant_row)                                                                                   \
    double m = AT(metal_row), w = AT(coolant_row);                                                                     \
    double metal = fma(wc, inflow, fma(wa, m, fma(wb, w, wd)));                                                        \
    inflow = fma(wg, inflow, fma(we, m, fma(wf, w, wh)));                                                              \
    double water = inflow - w;                                                                                         \
    AT(metal_row) = metal;                                                                                             \
    AT(coolant_row) = water;                                                                                           \
    sum += metal

INLINE void hose(Rows S, long first, const int cells, double cw, double ua, double around)
{
    LANE_LOOP {
        double f = AT(FLOW_C), twice = 2.0 / (cw + f + ua), a = twice * cw, b = 0.5 * twice * f, c = twice * ua * around;
        double inflow = AT(INFLOW), sum = 0.0;
        _Pragma("GCC unroll 64") for (int k = 0; k < cells; k++) {
            double w = AT(first + k);
            inflow = fma(b, inflow, fma(a, w, c));
            AT(first + k) = inflow - w;
            sum += inflow;
        }
        AT(INFLOW) = inflow;
        AT(HEAT_BAY) += ua * TICK_S * (cells * around - 0.5 * sum);
    }
}

INLINE void core(Rows S, Given x, Given P)
{
    double air = x[X_CORE_A], bay = P[P_CORE_BAY], heat = x[X_CORE_R], cm = P[P_CORE_M], cw = P[P_CORE_W];
    double bay_heat = bay * x[X_BAY] * CORE_CELLS, air_heat = heat * CORE_CELLS - bay_heat;
    double iat_0 = x[X_IAT0], iat_1 = x[X_IAT1], tied = air + bay;
    LANE_LOOP {
        double g = AT(CORE_G), e = AT(CORE_E), f = AT(FLOW_C);
        WEIGHTS(g, e, f, tied, heat, cm, cw);
        double inflow = AT(INFLOW), sum = 0.0, coldest = 1e9, hottest = 0.0;
        AT(CORE_IN) = 0.5 * inflow;
        _Pragma("GCC unroll 64") for (int k = 0; k < CORE_CELLS; k++) {
            PAIR(CORE_AT + k, CORE_AT + CORE_CELLS + k);
            if (k % 4 == 0 || k == CORE_CELLS - 1) {
                coldest = least(coldest, metal);
                hottest = most(hottest, water);
            }
        }
        double total = 0.5 * (AT(CORE_SUM) + sum), mean = total * (1.0 / CORE_CELLS);
        AT(INFLOW) = inflow;
        AT(CORE_OUT) = 0.5 * inflow;
        AT(CORE_SUM) = sum;
        AT(CORE_COLDEST) = coldest;
        AT(CORE_HOTTEST) = hottest;
        AT(HEAT_AIR) += TICK_S * (air_heat - air * total);
        AT(HEAT_BAY) += TICK_S * (bay_heat - bay * total);
        AT(CORE_METAL) = mean;
        AT(IAT) = iat_0 + iat_1 * mean;
    }
}

INLINE void front(Rows S, Given x, Given P)
{
    double air = x[X_FRONT_A], heat = x[X_FRONT_R], cm = P[P_FRONT_M], cw = P[P_FRONT_W];
    LANE_LOOP {
        double g = AT(FRONT_G), e = AT(FRONT_E), f = AT(FLOW_C);
        WEIGHTS(g, e, f, air, heat, cm, cw);
        double inflow = AT(INFLOW), sum = 0.0;
        AT(FRONT_IN) = 0.5 * inflow;
        _Pragma("GCC unroll 64") for (int k = 0; k < FRONT_CELLS; k++) { PAIR(FRONT_AT + k, FRONT_AT + FRONT_CELLS + k); }
        double total = 0.5 * (AT(FRONT_SUM) + sum);
        AT(INFLOW) = inflow;
        AT(FRONT_OUT) = 0.5 * inflow;
        AT(FRONT_SUM) = sum;
        AT(HEAT_OUT) += TICK_S * (air * total - heat * FRONT_CELLS);
    }
}

INLINE void circulate(Rows S, Given x, Given P)
{
    double around = x[X_HOSE_T], tank_t = x[X_TANK_T], share = P[P_SIDE_SHARE];
    double link_w = P[P_LINK_W], side_w = P[P_SIDE_W], link_ua = P[P_LINK_UA], side_ua = P[P_SIDE_UA];
    LANE_LOOP {
        double link = AT(LINK), out = 1.5 * link - 0.5 * AT(LINK_OLD);
        AT(LINK_OLD) = link;
        AT(LINK_OUT) = out;
        AT(INFLOW) = 2.0 * out;
    }
    hose(S, HOSE_1_AT, HOSE_1, P[P_HOSE_1_W], P[P_HOSE_1_UA], around);
    core(S, x, P);
    hose(S, HOSE_2_AT, HOSE_2, P[P_HOSE_2_W], P[P_HOSE_2_UA], around);
    front(S, x, P);
    hose(S, HOSE_3_AT, HOSE_3, P[P_HOSE_3_W], P[P_HOSE_3_UA], around);
    LANE_LOOP {
        double f = AT(FLOW_C), branch = share * f, link = AT(LINK), side = AT(SIDE);
        double a1 = link_w + link_ua + branch, a2 = side_w + side_ua + branch;
        double r1 = link_w * link + f * (0.5 * AT(INFLOW) - AT(LINK_OUT)) + link_ua * tank_t;
        double r2 = side_w * side + side_ua * tank_t, inverse = 1.0 / (a1 * a2 - branch * branch);
        double mean_link = (a2 * r1 + branch * r2) * inverse, mean_side = (a1 * r2 + branch * r1) * inverse;
        AT(LINK) = 2.0 * mean_link - link;
        AT(SIDE) = 2.0 * mean_side - side;
        AT(HEAT_BAY) += TICK_S * (link_ua * (tank_t - mean_link) + side_ua * (tank_t - mean_side));
    }
}

INLINE void sense(Rows S, Given x, Given P)
{
    double base = x[X_PROBE0], slope = x[X_PROBE1], rate = x[X_PROBE_K], noise = x[X_NOISE], step = P[P_STEP];
    double fault = x[X_FAULT_READING];
    LANE_LOOP {
        double element = AT(PROBE);
        element += rate * (base + slope * AT(CORE_METAL) - element);
        AT(PROBE) = element;
        AT(READING) = floor((element - 273.15 + noise) / step + 0.5) * step + 273.15;
        AT(COOLANT_READING) = floor((AT(CORE_IN) - 273.15) / step + 0.5) * step + 273.15;
    }
    if (!isnan(fault)) LANE_LOOP AT(READING) = fault;
}

INLINE void judge(Rows S, Given x, Given P, double tick, float *restrict on_boost)
{
    double boil = P[P_BOIL], stall_ticks = P[P_STALL_TICKS];
    LANE_LOOP {
        double failed = AT(FAILED), reason = AT(REASON);
        int boiled = failed < 0.0 && AT(CORE_HOTTEST) > boil;
        int stalled = failed < 0.0 && !boiled && AT(STALL) > stall_ticks;
        AT(REASON) = boiled ? 1.0 : (stalled ? 2.0 : reason);
        AT(FAILED) = boiled || stalled ? tick : failed;
    }
    if (!(x[X_SCORED] > 0.0)) return;
    double boost = x[X_BOOST], cruise = x[X_CRUISE], limit = x[X_LIMIT], hot_t = x[X_HOT_T], cold_t = x[X_COLD_T];
    double limit_t = x[X_LIMIT_T], target = P[P_TARGET], rated = 1.0 / P[P_RATED_W], amps = 1.0 / P[P_RATED_A];
    double supply = x[X_SUPPLY], dew = x[X_DEW], reach = P[P_REACH], quiet = P[P_QUIET];
    if (boost + cruise > 0.0) LANE_LOOP {
        double t = AT(IAT), hot = most(t - hot_t, 0.0);
        AT(HOT_BOOST) += boost * hot;
        AT(HOT_CRUISE) += cruise * hot;
        AT(COLD_CRUISE) += cruise * most(cold_t - t, 0.0);
        AT(SQUARES) += (boost + cruise) * (t - target) * (t - target);
        AT(CONDENSING) += AT(CORE_COLDEST) < dew ? 1.0 : 0.0;
    }
    long row = (long)x[X_BOOST_ROW];
    if (row >= 0) LANE_LOOP {
        double t = AT(IAT);
        AT(OVER) += limit * most(t - limit_t, 0.0);
        AT(POWER_KEPT) += boost * sqrt(target / t);
        on_boost[row * L + n] = (float)t;
    }
    if (x[X_REACH] > 0.0) LANE_LOOP AT(REACHED) = AT(REACHED) < 0.0 && AT(IAT) >= reach ? tick : AT(REACHED);
    if (x[X_STILL] > 0.0) LANE_LOOP AT(QUIET) += AT(APPLIED) > quiet ? 1.0 : 0.0;
    LANE_LOOP {
        double r = AT(SPEED) * rated, i = AT(CURRENT) * amps, stress = 1.0 + 0.3 * most(i * i - 1.0, 0.0);
        AT(PUMP_TICKS) += AT(WAS_ON);
        AT(WEAR_1) += r * stress;
        AT(WEAR_15) += r * sqrt(r) * stress;
        AT(WEAR_2) += r * r * stress;
        AT(ENERGY) += supply * AT(BATTERY_A);
    }
}

void twin(Rows S, Given X, Given P, Given duty_table, Given flow_table, Given exchanger_table, float *restrict on_boost,
          long first, long last)
{
    S = __builtin_assume_aligned(S, 64);
    long period = (long)P[P_PERIOD];
    for (long tick = first; tick < last; tick++) {
        Given x = X + tick * X_COLUMNS;
        if (tick % period == 0) law(S);
        actuate(S, x, P);
        look_up_duty(S, duty_table);
        motor(S, x, P);
        look_up_flow(S, P, flow_table, exchanger_table);
        circulate(S, x, P);
        sense(S, x, P);
        judge(S, x, P, (double)tick, on_boost);
    }
}
