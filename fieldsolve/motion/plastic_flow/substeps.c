/* Sub-steps of `explicit_step.py` where all metal obeys the law of Johnson and Cook: the same formulas, cell by cell.
 *
 * The form in Python is the readable one, and runs where this one was not built; a test holds the two against each other.  Its names
 * and constants are used here: arrays and numbers come in the order of the two lists below.  A complex number is a pair of doubles,
 * r and z.  The first index of a table (4, cells) is the point or corner.
 */
#define PY_SSIZE_T_CLEAN
#include <Python.h>
#include <math.h>
#include <stdint.h>

enum { DONE, FOLDED, NOT_CONVERGED };           /* how a call ends */

#define ARRAYS(X)                                                                                                          \
    X(vector, positions) X(vector, velocities) X(vector, acceleration) X(vector, first_force) X(vector, force_rate)         \
    X(double, mass) X(double, inverse_mass) X(int64_t, axis) X(int64_t, corners) X(int64_t, corner_table)                   \
    X(vector, maps) X(double, radius_and_jacobian) X(double, weights) X(double, volume)                                     \
    X(double, normal) X(double, shear) X(double, hoop) X(double, plastic_strain) X(double, strain_rate)                     \
    X(double, von_mises_stress) X(double, enthalpy) X(double, temperature) X(double, inverse_heat_capacity)                 \
    X(double, viscous) X(double, plastic_work) X(double, viscous_work) X(double, heating) X(double, heat_share)             \
    X(double, length) X(double, sound) X(double, density) X(double, bulk) X(double, twice_shear)                            \
    X(double, return_stiffness) X(double, rest_volume) X(double, across_r) X(double, across_z)                              \
    X(int64_t, first) X(int64_t, second) X(double, pair_mass)                                                               \
    X(double, initial) X(double, hardening) X(double, exponent) X(double, rate) X(double, thermal)                          \
    X(double, reference_rate) X(double, reference_temperature) X(double, melting) X(double, scale)                          \
    X(double, half_shape_table) X(double, scatter_table)                                                                    \
    X(double, trial) X(double, increment) X(double, stress) X(double, softening) X(uint8_t, above) X(vector, corner_forces)

#define NUMBERS(X)                                                                                                         \
    X(dt) X(elapsed) X(two_pi) X(tolerance) X(rounding) X(iterations) X(strain_floor) X(molten_floor) X(linear_viscosity)   \
    X(quadratic_viscosity)

typedef struct { double r, z; } vector;

typedef struct {
    Py_ssize_t nodes, cells, on_axis, most_cells, pairs;
    double work;
#define DECLARE_ARRAY(type, name) type *name;
#define DECLARE_NUMBER(name) double name;
    ARRAYS(DECLARE_ARRAY)
    NUMBERS(DECLARE_NUMBER)
} Run;

static vector times(vector a, vector b) { return (vector){a.r * b.r - a.z * b.z, a.r * b.z + a.z * b.r}; }
static vector conjugate(vector a) { return (vector){a.r, -a.z}; }

/* `element_rotation`: axes/axes* of the axes at the cell's centre */
static vector rotation(const Run *run, Py_ssize_t c, vector xi, vector eta)
{
    vector axes = {xi.r * run->across_r[c] + eta.z * run->across_z[c], xi.z * run->across_r[c] - eta.r * run->across_z[c]};
    double squared = axes.r * axes.r + axes.z * axes.z;
    return (vector){(axes.r * axes.r - axes.z * axes.z) / squared, 2 * axes.r * axes.z / squared};
}

/* `MovingCells.move` and `strain_increments` of one cell, and the trial stress; returns its smallest radius or Jacobian */
static double deform(Run *run, Py_ssize_t c, const vector *move, double *volume_change)
{
    const Py_ssize_t cells = run->cells;
    vector half[14], middle[14];
    double before[2][4], now[2][4], smallest = INFINITY, volume = 0, shear = 0;
    vector d[4];
    for (int k = 0; k < 4; k++) d[k] = move[run->corners[k * cells + c]];
    for (int k = 0; k < 14; k++) {
        const double *row = run->half_shape_table + 4 * k;
        vector *map = run->maps + k * cells + c;
        half[k] = (vector){row[0] * d[0].r + row[1] * d[1].r + row[2] * d[2].r + row[3] * d[3].r,
                           row[0] * d[0].z + row[1] * d[1].z + row[2] * d[2].z + row[3] * d[3].z};
        middle[k] = (vector){map->r + half[k].r, map->z + half[k].z};
        *map = (vector){middle[k].r + half[k].r, middle[k].z + half[k].z};
    }
    for (int p = 0; p < 4; p++) {
        const vector xi = run->maps[(4 + p) * cells + c], eta = run->maps[(8 + p) * cells + c];
        now[0][p] = run->maps[p * cells + c].r;
        now[1][p] = xi.r * eta.z - xi.z * eta.r;
        for (int k = 0; k < 2; k++) {
            double *value = run->radius_and_jacobian + (4 * k + p) * cells + c;
            before[k][p] = *value;
            *value = now[k][p];
            if (!(now[k][p] >= smallest)) smallest = now[k][p];
        }
        run->weights[p * cells + c] = now[0][p] * now[1][p] * run->two_pi;
        volume += run->weights[p * cells + c];
    }
    const vector back = conjugate(rotation(run, c, middle[12], middle[13]));
    double normal[4], hoop[4];
    for (int p = 0; p < 4; p++) {
        const double radii = before[0][p] + now[0][p], jacobians = before[1][p] + now[1][p];
        const vector a = times(middle[4 + p], half[8 + p]), b = times(middle[8 + p], half[4 + p]);
        const vector plane = times((vector){a.r - b.r, a.z - b.z}, back);
        normal[p] = -plane.z * (2.0 / jacobians);
        shear += 2.0 / jacobians * plane.r * run->weights[p * cells + c];
        hoop[p] = (now[0][p] - before[0][p]) / radii * (4.0 / 3.0) - (now[1][p] - before[1][p]) / jacobians * (2.0 / 3.0);
    }
    shear /= volume;
    for (int p = 0; p < 4; p++) {
        const Py_ssize_t i = p * cells + c;
        const double s = run->normal[i] += normal[p] * run->twice_shear[c], t = run->shear[i] += shear * run->twice_shear[c];
        const double h = run->hoop[i] += hoop[p] * run->twice_shear[c];
        run->trial[i] = 1.5 * sqrt((s * s + t * t) * (4.0 / 3.0) + h * h);
    }
    volume_change[c] = volume - run->volume[c];
    run->volume[c] = volume;
    return smallest;
}

/* `JohnsonCook._hardening`: A + B e^n and its slope by e */
static double hardened(const Run *run, Py_ssize_t c, double strain, double *slope)
{
    const double power = run->hardening[c] * pow(fmax(strain, run->strain_floor), run->exponent[c] - 1);
    *slope = power * (strain > run->strain_floor ? run->exponent[c] : 1.0);
    return run->initial[c] + power * strain;
}

/* One iteration of Newton's method at a point from an increment of plastic strain */
static double newton(Run *run, Py_ssize_t i, Py_ssize_t c, double increment, int above, double *slope)
{
    const double knee = run->reference_rate[c] * run->dt, stiffness = run->return_stiffness[c], softening = run->softening[c];
    double hardening;
    const double statics = hardened(run, c, run->plastic_strain[i] + increment, &hardening);
    const double factor = 1 + (run->rate[c] && increment > knee ? run->rate[c] * log(increment / knee) : 0.0);
    *slope = softening * (factor * hardening + above * run->rate[c] * statics / fmax(increment, knee));
    run->stress[i] = softening * factor * statics;
    return increment + (run->trial[i] - stiffness * increment - run->stress[i]) / (stiffness + *slope);
}

/* An increment kept on its side of the knee; `error` becomes the largest error that the step leaves, and stays a NaN */
static void step_to(Run *run, Py_ssize_t i, Py_ssize_t c, double following, double slope, int bounded, double *error)
{
    const double knee = run->reference_rate[c] * run->dt, before = run->increment[i];
    if (!bounded || run->above[i]) following = following < knee ? knee : following;
    else following = following < 0 ? 0 : following > knee ? knee : following;
    const double step = fabs(following - before), least = fmax(fmin(before, following), knee);
    const double left = fmin(slope * step / (2 * least), run->return_stiffness[c]) * step;
    if (left > *error || left != left) *error = left;
    run->increment[i] = following;
}

/* `plastic_strain_increment` at all points; 0 where it does not converge */
static int return_to_flow_stress(Run *run)
{
    const Py_ssize_t cells = run->cells, points = 4 * cells;
    double largest = 0, largest_trial = 0;
    for (Py_ssize_t c = 0; c < cells; c++) {
        const double above = (run->temperature[c] - run->reference_temperature[c]) / (run->melting[c] - run->reference_temperature[c]);
        const double homologous = above < 0 ? 0 : above > 1 ? 1 : above;      /* T*, between 0 and 1 */
        run->softening[c] = run->scale[c] * (1 - pow(homologous, run->thermal[c]));
        largest = fmax(largest, run->scale[c] * run->initial[c]);
    }
    for (Py_ssize_t i = 0, c = 0; i < points; i++, c = c + 1 == cells ? 0 : c + 1) {
        const double knee = run->reference_rate[c] * run->dt;
        const double guess = run->strain_rate[i] > 0 ? (run->trial[i] - run->von_mises_stress[i]) / run->return_stiffness[c] : 0.0;
        run->increment[i] = guess > knee ? guess : knee;
        largest_trial = fmax(largest_trial, run->trial[i]);
    }
    const double allowed = run->tolerance * largest + run->rounding * largest_trial;
    double *slopes = (double *)run->corner_forces, *ahead = slopes + points;         /* free at this time */
    for (int iteration = 0; iteration < run->iterations; iteration++) {
        double error = 0, least_stress = INFINITY;
        int all_flow = 1, leads_back = 0;
        for (Py_ssize_t i = 0, c = 0; i < points; i++, c = c + 1 == cells ? 0 : c + 1) {
            const double knee = run->reference_rate[c] * run->dt;
            ahead[i] = newton(run, i, c, run->increment[i], iteration ? run->above[i] : 1, slopes + i);
            if (run->stress[i] < least_stress) least_stress = run->stress[i];
            if (iteration) continue;
            const int flows = ahead[i] > knee;
            run->above[i] = (uint8_t)flows;
            all_flow &= flows;
            leads_back |= !flows && run->increment[i] > knee;
        }
        for (Py_ssize_t i = 0, c = 0; i < points; i++, c = c + 1 == cells ? 0 : c + 1) {
            if (iteration == 0 && leads_back) {          /* the root may lie on either side of the knee */
                const double knee = run->reference_rate[c] * run->dt;
                double slope;
                run->above[i] = run->trial[i] - run->return_stiffness[c] * knee
                                > run->softening[c] * hardened(run, c, run->plastic_strain[i] + knee, &slope);
            }
            step_to(run, i, c, ahead[i], slopes[i], !all_flow || iteration > 0, &error);
        }
        if (!(error <= allowed)) continue;
        if (least_stress > run->molten_floor * largest) return 1;
        for (Py_ssize_t i = 0, c = 0; i < points; i++, c = c + 1 == cells ? 0 : c + 1) {
            const double most = fmax(run->trial[i] - run->molten_floor * run->scale[c] * run->initial[c], 0) / run->return_stiffness[c];
            run->increment[i] = fmin(run->increment[i], most);
        }
        return 1;
    }
    return 0;
}

/* Stress, work and heat of one cell after the return, and `_compress` */
static void flow(Run *run, Py_ssize_t c, double volume_change)
{
    double work = 0;
    for (int p = 0; p < 4; p++) {
        const Py_ssize_t i = p * run->cells + c;
        const double increment = run->increment[i], remaining = 1 - run->return_stiffness[c] * increment / fmax(run->trial[i], 1.0);
        const double after = remaining * run->trial[i];
        run->strain_rate[i] = increment / run->dt;
        run->plastic_strain[i] += increment;
        run->normal[i] *= remaining;
        run->shear[i] *= remaining;
        run->hoop[i] *= remaining;
        work += (run->von_mises_stress[i] + after) * increment * run->weights[i];
        run->von_mises_stress[i] = after;
    }
    work *= 0.5;
    const double heat = run->heat_share[c] * work + run->heating[c] * run->dt;
    run->plastic_work[c] += work;
    run->enthalpy[c] += heat;
    run->temperature[c] += run->inverse_heat_capacity[c] * heat;
    const double rate = volume_change / (2 * run->volume[c] - volume_change) * (-2 / run->dt);
    const double speed = rate > 0 ? rate * run->length[c] : 0.0;
    const double viscous = run->density[c] * speed * (run->quadratic_viscosity * speed + run->linear_viscosity * run->sound[c]);
    run->viscous_work[c] -= 0.5 * (viscous + run->viscous[c]) * volume_change;
    run->viscous[c] = viscous;
}

/* `MovingCells.nodal_forces` of one cell, into its corners */
static void corner_forces(Run *run, Py_ssize_t c)
{
    const Py_ssize_t cells = run->cells;
    const double stretch = run->volume[c] / run->rest_volume[c];
    const double mean = run->bulk[c] * log(stretch) / stretch - run->viscous[c];
    const vector turn = rotation(run, c, run->maps[12 * cells + c], run->maps[13 * cells + c]);
    double shear = 0;
    vector fluxes[12];
    for (int p = 0; p < 4; p++) shear += run->weights[p * cells + c] * run->shear[p * cells + c];
    shear /= run->volume[c];
    for (int p = 0; p < 4; p++) {
        const Py_ssize_t i = p * cells + c;
        const double around = run->radius_and_jacobian[i] * run->two_pi, across = (mean - 0.5 * run->hoop[i]) * around;
        const vector plane = times((vector){-around * shear, around * run->normal[i]}, turn);
        fluxes[p] = (vector){(run->hoop[i] + mean) * run->radius_and_jacobian[4 * cells + i] * run->two_pi, 0.0};
        for (int k = 4; k < 12; k += 4) {
            const vector side = run->maps[k * cells + i], turned = times(conjugate(side), plane);
            fluxes[k + p] = (vector){-side.z * across - turned.r, side.r * across - turned.z};
        }
    }
    for (int k = 0; k < 4; k++) {
        const double *row = run->scatter_table + 12 * k;
        vector force = {0, 0};
        for (int p = 0; p < 12; p++) {
            force.r += row[p] * fluxes[p].r;
            force.z += row[p] * fluxes[p].z;
        }
        run->corner_forces[k * cells + c] = force;
    }
}

/* Accelerations of the nodes by forces and stress, `MassScaling` included */
static void accelerate(Run *run)
{
    run->corner_forces[4 * run->cells] = (vector){0, 0};                     /* of no corner */
    for (Py_ssize_t n = 0; n < run->nodes; n++) {
        vector force = {run->first_force[n].r + run->elapsed * run->force_rate[n].r,
                        run->first_force[n].z + run->elapsed * run->force_rate[n].z};
        vector inner = {0, 0};
        for (Py_ssize_t k = 0; k < run->most_cells; k++) {
            const vector corner = run->corner_forces[run->corner_table[k * run->nodes + n]];
            inner.r += corner.r;
            inner.z += corner.z;
        }
        run->acceleration[n] = (vector){(force.r - inner.r) * run->inverse_mass[n], (force.z - inner.z) * run->inverse_mass[n]};
    }
    for (Py_ssize_t k = 0; k < run->pairs; k++) {
        vector *a = run->acceleration + run->first[k], *b = run->acceleration + run->second[k];
        const double m = run->mass[run->first[k]], n = run->mass[run->second[k]], inertia = 1 / run->pair_mass[k] + 1 / m + 1 / n;
        const vector force = {(b->r - a->r) / inertia, (b->z - a->z) / inertia};
        *a = (vector){a->r + force.r / m, a->z + force.z / m};
        *b = (vector){b->r - force.r / n, b->z - force.z / n};
    }
    for (Py_ssize_t k = 0; k < run->on_axis; k++) run->acceleration[run->axis[k]].r = 0;
}

/* One sub-step of velocity Verlet */
static int substep(Run *run, vector *move, double *volume_change)
{
    const double dt = run->dt, half_way = run->elapsed + 0.5 * dt;
    double smallest = INFINITY, innermost = INFINITY, work = 0;
    for (Py_ssize_t n = 0; n < run->nodes; n++) {
        vector *v = run->velocities + n, *x = run->positions + n;
        *v = (vector){v->r + 0.5 * dt * run->acceleration[n].r, v->z + 0.5 * dt * run->acceleration[n].z};
        move[n] = (vector){dt * v->r, dt * v->z};
        *x = (vector){x->r + move[n].r, x->z + move[n].z};
        if (!(x->r >= innermost)) innermost = x->r;
        work += move[n].r * (run->first_force[n].r + half_way * run->force_rate[n].r)
                + move[n].z * (run->first_force[n].z + half_way * run->force_rate[n].z);
    }
    for (Py_ssize_t c = 0; c < run->cells; c++) {
        const double of_cell = deform(run, c, move, volume_change);
        if (!(of_cell >= smallest)) smallest = of_cell;
    }
    if (!(smallest > 0) || innermost < 0) return FOLDED;
    if (!return_to_flow_stress(run)) return NOT_CONVERGED;
    for (Py_ssize_t c = 0; c < run->cells; c++) {
        flow(run, c, volume_change[c]);
        corner_forces(run, c);
    }
    run->work += work;
    run->elapsed += dt;
    accelerate(run);
    for (Py_ssize_t n = 0; n < run->nodes; n++) {
        vector *v = run->velocities + n;
        *v = (vector){v->r + 0.5 * dt * run->acceleration[n].r, v->z + 0.5 * dt * run->acceleration[n].z};
    }
    return DONE;
}

/* The arrays of a run; 0 with an exception where one is not C-contiguous */
static int take_arrays(PyObject *tuple, Run *run, Py_buffer *buffers, Py_ssize_t *taken)
{
#define COUNT(type, name) +1
#define TAKE(type, name)                                                                                                   \
    if (PyObject_GetBuffer(PyTuple_GET_ITEM(tuple, *taken), buffers + *taken, PyBUF_C_CONTIGUOUS)) return 0;               \
    run->name = (type *)buffers[(*taken)++].buf;
    if (PyTuple_GET_SIZE(tuple) != 0 ARRAYS(COUNT)) {
        PyErr_SetString(PyExc_ValueError, "the number of arrays is not what the sub-steps take");
        return 0;
    }
    ARRAYS(TAKE)
    return 1;
}

static PyObject *advance(PyObject *self, PyObject *args)
{
    (void)self;
    PyObject *arrays, *numbers;
    Py_ssize_t count, done = 0;
    Run run = {0};
    if (!PyArg_ParseTuple(args, "nO!O!(nnnnn)", &count, &PyTuple_Type, &arrays, &PyTuple_Type, &numbers, &run.nodes, &run.cells,
                          &run.on_axis, &run.most_cells, &run.pairs))
        return NULL;
    Py_buffer buffers[0 ARRAYS(COUNT)];
    Py_ssize_t taken = 0, k = 0;
    PyObject *found = NULL;
    double *space = PyMem_Malloc((2 * run.nodes + run.cells) * sizeof(double));
#define TAKE_NUMBER(name) run.name = k < PyTuple_GET_SIZE(numbers) ? PyFloat_AsDouble(PyTuple_GET_ITEM(numbers, k)) : NAN; k++;
    NUMBERS(TAKE_NUMBER)
    if (!space) PyErr_NoMemory();
    else if (take_arrays(arrays, &run, buffers, &taken) && !PyErr_Occurred()) {
        int end = DONE;
        Py_BEGIN_ALLOW_THREADS
        while (done < count && (end = substep(&run, (vector *)space, space + 2 * run.nodes)) == DONE) done++;
        Py_END_ALLOW_THREADS
        found = Py_BuildValue("nidd", done, end, run.elapsed, run.work);
    }
    while (taken) PyBuffer_Release(buffers + --taken);
    PyMem_Free(space);
    return found;
}

static PyMethodDef methods[] = {
    {"advance", advance, METH_VARARGS,
     "advance(count, arrays, numbers, (nodes, cells, on_axis, most_cells, pairs)) -> (sub-steps done, how it ended, elapsed, work)\n\n"
     "Up to `count` sub-steps on the arrays, in place; it ends 0 after all of them, 1 at a cell inside out, 2 at a return without end."},
    {NULL, NULL, 0, NULL}};

static struct PyModuleDef module = {PyModuleDef_HEAD_INIT, "_substeps", "Compiled sub-steps of bodies that flow.", -1, methods,
                                    NULL, NULL, NULL, NULL};

PyMODINIT_FUNC PyInit__substeps(void)
{
    return PyModule_Create(&module);
}
