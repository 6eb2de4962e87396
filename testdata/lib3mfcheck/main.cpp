// Opens a 3MF file with the 3MF Consortium's library, version 1.8 (Debian:
// lib3mf-dev), in strict mode and prints what it finds there, one fact a line,
// for the tests of package mesh. Exit 1 if the file cannot be read.
//
//   g++ -I/usr/include/lib3mf main.cpp -l3MF -o lib3mfcheck

#include <cstdio>
#include <cstdlib>
#include <string>

#include "Model/COM/NMR_DLLInterfaces.h"

using namespace NMR;

static void need(LIB3MFRESULT result, PLib3MFBase *on, const char *what) {
	if (result == 0) return;
	DWORD code = 0;
	LPCSTR message = nullptr;
	if (on) lib3mf_getlasterror(on, &code, &message);
	std::printf("error %s: 0x%08x %s\n", what, static_cast<unsigned>(result), message ? message : "");
	std::exit(1);
}

template <typename Call> static std::string text(Call call) {
	char buffer[1024];
	ULONG length = 0;
	if (call(buffer, sizeof buffer, &length) != 0 || length >= sizeof buffer) return "?";
	buffer[length] = 0;
	return buffer;
}

int main(int argc, char **argv) {
	if (argc != 2) {
		std::fprintf(stderr, "usage: lib3mfcheck FILE.3mf\n");
		return 2;
	}
	PLib3MFModel *model = nullptr;
	need(lib3mf_createmodel(&model), nullptr, "createmodel");
	PLib3MFModelReader *reader = nullptr;
	need(lib3mf_model_queryreader(model, "3mf", &reader), model, "queryreader");
	need(lib3mf_reader_setstrictmodeactive(reader, 1), reader, "strict mode");
	need(lib3mf_reader_readfromfileutf8(reader, argv[1]), reader, "read");

	DWORD warnings = 0;
	need(lib3mf_reader_getwarningcount(reader, &warnings), reader, "warnings");
	std::printf("warnings %u\n", static_cast<unsigned>(warnings));
	for (DWORD i = 0; i < warnings; i++) {
		DWORD code = 0;
		std::string w = text([&](LPSTR b, ULONG n, ULONG *l) { return lib3mf_reader_getwarningutf8(reader, i, &code, b, n, l); });
		std::printf("warning 0x%08x %s\n", static_cast<unsigned>(code), w.c_str());
	}

	DWORD unit = 0;
	need(lib3mf_model_getunit(model, &unit), model, "unit");
	std::printf("millimetres %s\n", unit == MODELUNIT_MILLIMETER ? "yes" : "no");

	DWORD metadata = 0;
	need(lib3mf_model_getmetadatacount(model, &metadata), model, "metadata");
	for (DWORD i = 0; i < metadata; i++) {
		std::string key = text([&](LPSTR b, ULONG n, ULONG *l) { return lib3mf_model_getmetadatakeyutf8(model, i, b, n, l); });
		std::string value = text([&](LPSTR b, ULONG n, ULONG *l) { return lib3mf_model_getmetadatavalueutf8(model, i, b, n, l); });
		std::printf("metadata %s = %s\n", key.c_str(), value.c_str());
	}

	PLib3MFModelAttachment *thumbnail = nullptr;
	if (lib3mf_model_getpackagethumbnailattachment(model, 0, &thumbnail) != 0) thumbnail = nullptr;
	std::printf("thumbnail %s\n", thumbnail ? "yes" : "no");

	BOOL more = 0;
	PLib3MFModelResourceIterator *objects = nullptr;
	need(lib3mf_model_getobjects(model, &objects), model, "objects");
	while (lib3mf_resourceiterator_movenext(objects, &more) == 0 && more) {
		PLib3MFModelResource *object = nullptr;
		need(lib3mf_resourceiterator_getcurrent(objects, &object), objects, "object");
		std::string name = text([&](LPSTR b, ULONG n, ULONG *l) { return lib3mf_object_getnameutf8(object, b, n, l); });
		DWORD type = 0;
		need(lib3mf_object_gettype(object, &type), object, "type");
		BOOL valid = 0, mesh = 0, components = 0;
		need(lib3mf_object_isvalidobject(object, &valid), object, "valid");
		need(lib3mf_object_ismeshobject(object, &mesh), object, "mesh");
		need(lib3mf_object_iscomponentsobject(object, &components), object, "components");
		if (mesh) {
			DWORD vertices = 0, triangles = 0;
			BOOL manifold = 0;
			need(lib3mf_meshobject_getvertexcount(object, &vertices), object, "vertices");
			need(lib3mf_meshobject_gettrianglecount(object, &triangles), object, "triangles");
			need(lib3mf_meshobject_ismanifoldandoriented(object, &manifold), object, "manifold");
			std::printf("mesh vertices=%u triangles=%u manifold=%s valid=%s model=%s name=%s\n",
				static_cast<unsigned>(vertices), static_cast<unsigned>(triangles), manifold ? "yes" : "no",
				valid ? "yes" : "no", type == MODELOBJECTTYPE_MODEL ? "yes" : "no", name.c_str());
		}
		if (components) {
			DWORD count = 0;
			need(lib3mf_componentsobject_getcomponentcount(object, &count), object, "component count");
			std::printf("assembly components=%u valid=%s name=%s\n",
				static_cast<unsigned>(count), valid ? "yes" : "no", name.c_str());
		}
	}

	PLib3MFModelBuildItemIterator *items = nullptr;
	need(lib3mf_model_getbuilditems(model, &items), model, "build items");
	while (lib3mf_builditemiterator_movenext(items, &more) == 0 && more) {
		PLib3MFModelBuildItem *item = nullptr;
		need(lib3mf_builditemiterator_getcurrent(items, &item), items, "build item");
		PLib3MFModelObjectResource *object = nullptr;
		need(lib3mf_builditem_getobjectresource(item, &object), item, "build item's object");
		MODELTRANSFORM t;
		need(lib3mf_builditem_getobjecttransform(item, &t), item, "transform");
		BOOL components = 0;
		need(lib3mf_object_iscomponentsobject(object, &components), object, "components");
		std::printf("item of=%s at=%.3f,%.3f,%.3f\n", components ? "assembly" : "mesh",
			t.m_fFields[0][3], t.m_fFields[1][3], t.m_fFields[2][3]);
	}
	return 0;
}
