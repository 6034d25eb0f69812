/* Calls that follow an error or the end of an object. The C compiler moves what leads to them out of the way:
   a control period's code would not fit in a processor's first cache with them. Comes before all other headers. */
#include <Python.h>

PyAPI_FUNC(PyObject *) PyErr_Occurred(void) __attribute__((cold));
PyAPI_FUNC(void) PyErr_SetString(PyObject *, const char *) __attribute__((cold));
PyAPI_FUNC(void) _Py_Dealloc(PyObject *) __attribute__((cold));
void CPy_AddTraceback(const char *, const char *, int, PyObject *) __attribute__((cold));
