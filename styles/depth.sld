<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor version="1.0.0"
    xmlns="http://www.opengis.net/sld"
    xmlns:ogc="http://www.opengis.net/ogc"
    xmlns:xlink="http://www.w3.org/1999/xlink"
    xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
    xsi:schemaLocation="http://www.opengis.net/sld http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd">
  <NamedLayer>
    <Name>depth</Name>
    <UserStyle>
      <Name>depth</Name>
      <Title>Depth of dead ground</Title>
      <Abstract>Metres that a thing must stand tall to show; where the depth is 0 the ground is seen and nothing is drawn.</Abstract>
      <IsDefault>1</IsDefault>
      <FeatureTypeStyle>
        <Rule>
          <Name>depth</Name>
          <Title>Depth of dead ground</Title>
          <RasterSymbolizer>
            <ColorMap>
              <ColorMapEntry color="#FDFBF5" quantity="0" opacity="0" label="Seen"/>
              <ColorMapEntry color="#A9B8D8" quantity="0.01" opacity="0.36" label="Hidden, less than 2 m deep"/>
              <ColorMapEntry color="#A9B8D8" quantity="2" opacity="0.36" label="2 m"/>
              <ColorMapEntry color="#7389BC" quantity="20" opacity="0.36" label="20 m"/>
              <ColorMapEntry color="#455A93" quantity="60" opacity="0.36" label="60 m"/>
              <ColorMapEntry color="#1F2850" quantity="200" opacity="0.36" label="200 m and more"/>
              <ColorMapEntry color="#1F2850" quantity="10000" opacity="0.36" label="The deepest"/>
            </ColorMap>
          </RasterSymbolizer>
        </Rule>
      </FeatureTypeStyle>
    </UserStyle>
  </NamedLayer>
</StyledLayerDescriptor>
